package jobsrpc

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// SaveColumnMapping stores a mapping under its name.
func (s *Server) SaveColumnMapping(
	ctx context.Context, req *jobsv1.SaveColumnMappingRequest,
) (*jobsv1.SaveColumnMappingResponse, error) {
	m := fromMapping(req.GetMapping())
	faults := s.checkMapping(req.GetMapping())
	if m.Name == "" {
		faults = append(faults, errs.Field{Path: "mapping.name", Reason: "REQUIRED",
			Message: "nothing was given; give a name in small letters, digits and hyphens: \"front-desk\""})
	}
	read := 0
	if req.GetEtag() != "" {
		version, malformed := rpc.ParseEtag("etag", req.GetEtag())
		read, faults = version, append(faults, malformed...)
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	m.ID, m.UpdateTime, m.UpdatedBy = ident.New[ident.Mapping](), s.at(), rpc.CallerFrom(ctx).Name
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*jobsv1.SaveColumnMappingResponse, error) {
		saved, err := s.saveMapping(ctx, tx, m, read)
		if err != nil {
			return nil, err
		}
		return &jobsv1.SaveColumnMappingResponse{Mapping: toMapping(&saved)}, nil
	})
}

// saveMapping puts a mapping in the place of the version that was read; 0 is none.
func (s *Server) saveMapping(ctx context.Context, tx *pg.Tx, m jobs.Mapping, read int) (jobs.Mapping, error) {
	action := "column_mapping.created"
	stored, err := jobspg.GetMapping(ctx, tx, m.Name)
	switch {
	case errs.Is(err, errs.NotFound) && read == 0:
	case err != nil:
		return m, err
	case read == 0:
		return m, errs.Newf(errs.Conflict, "NAME_TAKEN", "a mapping is saved under the name %q already; read it and send its etag to change it, "+
			"or choose another name", m.Name).With(errs.DetailEtag, rpc.Etag(stored.Version))
	default:
		if err := rpc.CheckVersion(read, stored.Version); err != nil {
			return m, err
		}
		m.ID, action = stored.ID, "column_mapping.updated"
	}
	m.Version = stored.Version + 1
	if err := jobspg.SaveMapping(ctx, tx, m); err != nil {
		return m, err
	}
	return m, outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: m.UpdateTime, Actor: m.UpdatedBy, Action: action,
		SubjectKind: "column_mapping", SubjectID: string(m.ID)})
}

// maxMapping is the largest mapping, in bytes on the wire; no system has so many words.
const maxMapping = 128 << 10

// checkMapping gives every fault of a mapping.
func (s *Server) checkMapping(message *jobsv1.ColumnMapping) []errs.Field {
	m := fromMapping(message)
	faults := append(rpc.Validate("mapping", &m), jobs.CheckMapping(m)...)
	if n := proto.Size(message); n > maxMapping {
		faults = append(faults, errs.Field{Path: "mapping", Reason: "TOO_LARGE", Message: fmt.Sprintf(
			"it has %d bytes and at most %d are allowed; leave out words that say nothing", n, maxMapping)})
	}
	if _, ok := s.intakes[m.Format]; !ok && m.Format != "" {
		faults = append(faults, errs.Field{Path: "mapping.format", Reason: "UNKNOWN_VALUE", Message: s.unknownFormat(m.Format)})
	}
	return faults
}

// GetColumnMapping gives one mapping.
func (s *Server) GetColumnMapping(
	ctx context.Context, req *jobsv1.GetColumnMappingRequest,
) (*jobsv1.GetColumnMappingResponse, error) {
	var m jobs.Mapping
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		m, err = jobspg.GetMapping(ctx, tx, req.GetName())
		return err
	})
	if err != nil {
		return nil, err
	}
	return &jobsv1.GetColumnMappingResponse{Mapping: toMapping(&m)}, nil
}

// ListColumnMappings lists mappings by name.
func (s *Server) ListColumnMappings(
	ctx context.Context, req *jobsv1.ListColumnMappingsRequest,
) (*jobsv1.ListColumnMappingsResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	after := ""
	if len(page.After) == 1 {
		after = page.After[0]
	}
	var all []jobs.Mapping
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = jobspg.ListMappings(ctx, tx, after, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &jobsv1.ListColumnMappingsResponse{}
	size := 0
	for i := range all {
		mapping := toMapping(&all[i])
		if size += proto.Size(mapping); size > maxPageBytes && i > 0 {
			hasMore = true
			break
		}
		resp.Mappings = append(resp.Mappings, mapping)
		after = all[i].Name
	}
	resp.NextPageToken, err = page.Next(hasMore, after)
	return resp, err
}

// The prefixes of the enums of a mapping.
const (
	encodingPrefix    = "FILE_ENCODING_"
	delimiterPrefix   = "DELIMITER_"
	markPrefix        = "DECIMAL_MARK_"
	lengthPrefix      = "LENGTH_UNIT_"
	temperaturePrefix = "TEMPERATURE_UNIT_"
	orderPrefix       = "DATE_ORDER_"
)

// fromMapping gives the mapping of a message, without what only the server says of it; the zero
// Mapping for nil.
func fromMapping(m *jobsv1.ColumnMapping) jobs.Mapping {
	mapping := jobs.Mapping{Name: m.GetName(), Format: m.GetFormat(),
		Encoding:        wire.Word[jobs.Encoding](encodingPrefix, m.GetEncoding()),
		Delimiter:       wire.Word[jobs.Delimiter](delimiterPrefix, m.GetDelimiter()),
		DecimalMark:     wire.Word[jobs.DecimalMark](markPrefix, m.GetDecimalMark()),
		LengthUnit:      wire.Word[jobs.LengthUnit](lengthPrefix, m.GetLengthUnit()),
		TemperatureUnit: wire.Word[jobs.TemperatureUnit](temperaturePrefix, m.GetTemperatureUnit()),
		DateOrder:       wire.Word[jobs.DateOrder](orderPrefix, m.GetDateOrder()),
		TimeZone:        m.GetTimeZone(), IsRowPerDamage: m.GetIsRowPerDamage()}
	for _, c := range m.GetColumns() {
		column := jobs.Column{Field: c.GetField(), Name: c.GetColumn(), Value: c.GetValue(), IsOptional: c.GetIsOptional()}
		for _, w := range c.GetWords() {
			column.Words = append(column.Words, jobs.Word{Given: w.GetGiven(), Meaning: w.GetMeaning()})
		}
		mapping.Columns = append(mapping.Columns, column)
	}
	return mapping
}

func toMapping(m *jobs.Mapping) *jobsv1.ColumnMapping {
	message := &jobsv1.ColumnMapping{Name: m.Name, Format: m.Format,
		Encoding:        wire.Value[jobsv1.FileEncoding](jobsv1.FileEncoding_value, encodingPrefix, m.Encoding),
		Delimiter:       wire.Value[jobsv1.Delimiter](jobsv1.Delimiter_value, delimiterPrefix, m.Delimiter),
		DecimalMark:     wire.Value[jobsv1.DecimalMark](jobsv1.DecimalMark_value, markPrefix, m.DecimalMark),
		LengthUnit:      wire.Value[jobsv1.LengthUnit](jobsv1.LengthUnit_value, lengthPrefix, m.LengthUnit),
		TemperatureUnit: wire.Value[jobsv1.TemperatureUnit](jobsv1.TemperatureUnit_value, temperaturePrefix, m.TemperatureUnit),
		DateOrder:       wire.Value[jobsv1.DateOrder](jobsv1.DateOrder_value, orderPrefix, m.DateOrder),
		TimeZone:        m.TimeZone, IsRowPerDamage: m.IsRowPerDamage, UpdateTime: wire.ToTime(m.UpdateTime), UpdatedBy: m.UpdatedBy}
	if m.Version > 0 {
		message.Etag = rpc.Etag(m.Version)
	}
	for _, c := range m.Columns {
		column := &jobsv1.ColumnBinding{Field: c.Field, Column: c.Name, Value: c.Value, IsOptional: c.IsOptional}
		for _, w := range c.Words {
			column.Words = append(column.Words, &jobsv1.ColumnWord{Given: w.Given, Meaning: w.Meaning})
		}
		message.Columns = append(message.Columns, column)
	}
	return message
}
