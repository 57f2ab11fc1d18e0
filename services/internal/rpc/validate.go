package rpc

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"

	"github.com/go-playground/validator/v10"

	"cullet/services/errs"
)

// validation is made once, when the first request needs it: the tags of each struct are read once.
var validation = sync.OnceValue(func() *validator.Validate {
	v := validator.New(validator.WithRequiredStructEnabled())
	v.RegisterTagNameFunc(func(f reflect.StructField) string {
		name, _, _ := strings.Cut(cmp.Or(f.Tag.Get("path"), f.Tag.Get("json")), ",")
		if name == "-" {
			return ""
		}
		return name
	})
	return v
})

// Validate checks a struct of a domain package by its validate tags and gives every fault with its
// proto path: prefix, then the names of the path tags, else of the json tags. None when all is
// well. What is no struct is a bug and panics.
func Validate(prefix string, v any) []errs.Field {
	err := validation().Struct(v)
	if err == nil {
		return nil
	}
	var invalid validator.ValidationErrors
	if !errors.As(err, &invalid) {
		panic(fmt.Sprintf("validate %T: %v", v, err))
	}
	faults := make([]errs.Field, 0, len(invalid))
	for _, fault := range invalid {
		_, path, _ := strings.Cut(fault.Namespace(), ".")
		faults = append(faults, errs.Field{Path: Join(prefix, path), Reason: reasonOfTag(fault.Tag()),
			Message: describe(fault)})
	}
	return faults
}

// Join puts a path behind a prefix; either may be empty.
func Join(prefix, path string) string {
	if prefix == "" || path == "" {
		return prefix + path
	}
	return prefix + "." + path
}

func reasonOfTag(tag string) string {
	switch tag {
	case "required", "required_if", "required_with", "required_without":
		return "REQUIRED"
	case "max", "lte", "lt":
		return "TOO_LARGE"
	case "min", "gte", "gt":
		return "TOO_SMALL"
	case "oneof":
		return "UNKNOWN_VALUE"
	case "datetime":
		return "NOT_A_DAY"
	case "unique":
		return "REPEATED"
	}
	return "FORM"
}

// describe says what was given, what is allowed and how to mend it.
func describe(f validator.FieldError) string {
	switch f.Tag() {
	case "required", "required_if", "required_with", "required_without":
		return "nothing was given and the field is required; give a value"
	case "max", "lte", "min", "gte", "gt", "lt", "len":
		return bound(f)
	case "oneof":
		return fmt.Sprintf("%s was given; allowed are %s", show(f.Value()), strings.Join(strings.Fields(f.Param()), ", "))
	case "datetime":
		return fmt.Sprintf("%s was given; give a day that exists, as year-month-day: \"2026-10-20\"", show(f.Value()))
	case "unique":
		return "the same value stands twice; leave one of them out"
	}
	allowed, ok := forms[f.Tag()]
	if !ok {
		allowed = "a value that passes " + strings.TrimSuffix(f.Tag()+" "+f.Param(), " ")
	}
	return fmt.Sprintf("%s was given; give %s", show(f.Value()), allowed)
}

// forms says what the tags of form allow.
var forms = map[string]string{
	"email":              `an e-mail address, "clerk@shop.example"`,
	"timezone":           `the name of a time zone from the IANA list, "America/New_York"`,
	"iso4217":            `the code of a currency after ISO 4217 in capitals, "USD"`,
	"iso3166_1_alpha2":   `the two capital letters of a country after ISO 3166-1, "US"`,
	"url":                `a whole URL, "https://payer.example/claims"`,
	"https_url":          `a whole URL that begins with https://`,
	"uuid":               "an identifier as this API gives them",
	"latitude":           "degrees from -90 to 90",
	"longitude":          "degrees from -180 to 180",
	"alphanum":           "letters and digits only",
	"printascii":         "printable ASCII characters only",
	"sha256":             "64 hexadecimal digits in lower case",
	"e164":               `a telephone number with country code, "+16145550123"`,
	"bcp47_language_tag": `a language tag, "en-US"`,
}

// bound words the limits, which mean characters, items or the number itself.
func bound(f validator.FieldError) string {
	limit := map[string]string{"max": "at most", "lte": "at most", "lt": "less than", "min": "at least",
		"gte": "at least", "gt": "more than", "len": "exactly"}[f.Tag()]
	mend := map[string]string{"max": "shorten", "lte": "shorten", "lt": "shorten"}[f.Tag()]
	value := reflect.ValueOf(f.Value())
	switch value.Kind() {
	case reflect.String:
		return fmt.Sprintf("%d characters were given and %s %s are allowed; %s the text", len([]rune(value.String())), limit,
			f.Param(), cmp.Or(mend, "complete"))
	case reflect.Slice, reflect.Map, reflect.Array:
		return fmt.Sprintf("%d items were given and %s %s are allowed; %s the list", value.Len(), limit, f.Param(), cmp.Or(mend, "complete"))
	}
	return fmt.Sprintf("%s was given; give %s %s", show(f.Value()), limit, f.Param())
}
