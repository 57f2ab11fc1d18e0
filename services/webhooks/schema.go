package webhooks

import (
	"encoding/json"
	"strings"
)

// SchemaPath is where the JSON Schema of the type is served.
func (t EventType) SchemaPath() string { return "/schemas/" + t.schemaName() }

func (t EventType) schemaName() string { return "events/" + t.Name + ".json" }

// Schemas gives the JSON Schema (2020-12) of every type of event, by its name below /schemas/.
func Schemas() map[string][]byte {
	all := map[string][]byte{}
	for _, t := range EventTypes() {
		all[t.schemaName()] = t.Schema()
	}
	return all
}

// object is a JSON object of a schema.
type object map[string]any

// uuidForm stands beside the format, which by itself is only an annotation.
const uuidForm = `^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`

// Schema gives the JSON Schema of the body that an endpoint receives.
func (t EventType) Schema() []byte {
	data, required := object{}, []string{}
	for _, f := range t.fields {
		data[f.name] = f.schema()
		if !f.isOptional {
			required = append(required, f.name)
		}
	}
	noun, _, _ := strings.Cut(t.Name, ".")
	text, err := json.MarshalIndent(object{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": "urn:cullet:event:" + t.Name + ":1",
		"title": t.Name, "description": t.Sentence, "type": "object", "additionalProperties": false,
		"required": []string{"event_id", "type", "timestamp", "subject_kind", "subject_id", "subject_version", "data"},
		"properties": object{
			"event_id":     describe(uuid(), "The same at every attempt, and the webhook-id: what was seen before is dropped by it."),
			"type":         object{"const": t.Name},
			"timestamp":    object{"type": "string", "format": "date-time", "description": "When it happened, UTC."},
			"subject_kind": object{"const": noun},
			"subject_id":   describe(uuid(), "What it happened to."),
			"subject_version": object{"type": "integer", "minimum": 1,
				"description": "Grows with every change of the subject; what is older than what a receiver has is dropped."},
			"data": object{"type": "object", "additionalProperties": false, "properties": data, "required": required,
				"description": "The state after the change."},
		},
	}, "", "  ")
	if err != nil { // maps of plain values always marshal
		panic("write the schema of " + t.Name + ": " + err.Error())
	}
	return append(text, '\n')
}

func uuid() object { return object{"type": "string", "format": "uuid", "pattern": uuidForm} }

func describe(o object, sentence string) object {
	o["description"] = sentence
	return o
}

func (f field) schema() object {
	o := object{}
	switch f.kind {
	case uuidKind:
		o = uuid()
	case textKind:
		o = object{"type": "string"}
	case dateKind:
		o = object{"type": "string", "pattern": `^([0-9]{4}-[0-9]{2}-[0-9]{2})?$`}
	case countKind:
		o = object{"type": "integer", "minimum": 0}
	case stateKind:
		o = object{"enum": ClaimStates}
	case textsKind:
		o = object{"type": "array", "items": object{"type": "string"}}
	case moneyKind:
		o = object{"type": "object", "additionalProperties": false, "required": []string{"minor_units", "currency_code"},
			"properties": object{"minor_units": object{"type": "integer"},
				"currency_code": object{"type": "string", "pattern": "^[A-Z]{3}$"}}}
	}
	return describe(o, f.sentence)
}
