package invoicesrpc

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/internal/rpc"
	"cullet/services/invoices"
)

// The media types that need no writer from outside.
const (
	mediaPDF  = "application/pdf"
	mediaJSON = "application/json"
)

// GetInvoiceDocument gives an invoice or credit note as a file.
func (s *Server) GetInvoiceDocument(ctx context.Context, req *invoicesv1.GetInvoiceDocumentRequest) (*invoicesv1.GetInvoiceDocumentResponse, error) {
	var faults []errs.Field
	if paper := req.GetPaper(); paper != "" && paper != "LETTER" && paper != "A4" {
		faults = append(faults, errs.Field{Path: "paper", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf("%.20q was given; give LETTER or A4", paper)})
	}
	media := req.GetMediaType()
	if media == "" {
		media = mediaPDF
	}
	writer, isWritten := s.writers[media]
	if media != mediaPDF && media != mediaJSON && !isWritten {
		all := append(slices.Sorted(maps.Keys(s.writers)), mediaPDF, mediaJSON)
		faults = append(faults, errs.Field{Path: "media_type", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf("%.60q was given; allowed are %s", media, strings.Join(all, ", "))})
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	i, err := s.invoice(ctx, req.GetInvoiceId())
	if err != nil {
		return nil, err
	}
	resp := &invoicesv1.GetInvoiceDocumentResponse{MediaType: media}
	printed := i.AsIssued()
	extension := "pdf"
	switch {
	case media == mediaJSON:
		extension = "json"
		resp.Content, err = steadyJSON(i)
	case isWritten:
		extension = writer.Extension()
		resp.Content, resp.Profile, err = writer.Write(printed)
	default:
		paper := req.GetPaper()
		if paper == "" {
			paper = i.Seller.Address.Paper()
		}
		resp.Content, err = s.document.PDF(printed, paper)
		resp.Pdf = resp.GetContent()
	}
	resp.FileName = strings.ToLower(i.Number) + "." + extension
	return resp, err
}

// steadyJSON writes the contract's message: the same bytes for the same invoice.
func steadyJSON(i invoices.Invoice) ([]byte, error) {
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(toInvoice(i))
	if err != nil {
		return nil, fmt.Errorf("write %s as JSON: %w", i.Number, err)
	}
	// protojson varies its spaces on purpose.
	var steady any
	if err := json.Unmarshal(text, &steady); err != nil {
		return nil, fmt.Errorf("read %s as JSON: %w", i.Number, err)
	}
	text, err = json.MarshalIndent(steady, "", "  ")
	return append(text, '\n'), err
}
