package server_test

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
)

// TestADocumentStaysAsItWasIssued: in each media type the file is the same after money came and a share
// moved.
func TestADocumentStaysAsItWasIssued(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	number := h.released(t).GetInvoiceNumber()
	id := h.invoiceNumbered(t, number)
	ask := func(media string) *invoicesv1.GetInvoiceDocumentResponse {
		t.Helper()
		got, err := h.Invoices.GetInvoiceDocument(t.Context(), &invoicesv1.GetInvoiceDocumentRequest{InvoiceId: id, MediaType: media})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	pdf, xml := ask(""), ask("application/xml")
	if !bytes.HasPrefix(pdf.GetContent(), []byte("%PDF-")) || !bytes.Equal(pdf.GetContent(), pdf.GetPdf()) || pdf.GetMediaType() != "application/pdf" {
		t.Errorf("the default is %s of %d bytes", pdf.GetMediaType(), len(pdf.GetContent()))
	}
	if !bytes.Contains(xml.GetContent(), []byte("<cbc:ID>SalesTax</cbc:ID>")) || xml.GetProfile() != "UBL 2.1" || xml.GetFileName() != "inv-000001.xml" {
		t.Errorf("%s, %s:\n%s", xml.GetProfile(), xml.GetFileName(), xml.GetContent())
	}
	read := &invoicesv1.Invoice{}
	if err := protojson.Unmarshal(ask("application/json").GetContent(), read); err != nil || read.GetInvoiceNumber() != number {
		t.Errorf("JSON of %q: %v", read.GetInvoiceNumber(), err)
	}
	if _, err := h.Invoices.MoveShare(t.Context(), &invoicesv1.MoveShareRequest{InvoiceId: id, ToDebtorKind: "MOTORIST", Amount: usd(500), Reason: "Denied in part."}); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(pdf.GetContent(), ask("application/pdf").GetContent()) || !bytes.Equal(xml.GetContent(), ask("application/xml").GetContent()) {
		t.Error("moving a share changed the document")
	}
	_, err := h.Invoices.GetInvoiceDocument(t.Context(), &invoicesv1.GetInvoiceDocumentRequest{InvoiceId: id, MediaType: "text/html"})
	if !errs.Is(err, errs.Invalid) {
		t.Errorf("another media type: %v, want a refusal", err)
	}
}
