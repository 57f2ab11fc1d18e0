// Package ubl writes invoices and credit notes as UBL 2.1 (OASIS).
//
// Where VAT applies it is an invoice after EN 16931: one VAT category and rate a line, a discount as an
// allowance on the whole document for each category, the tax of each category once on its sum. It says
// so (CustomizationID) only when every figure that was printed is what the rules of EN 16931 come to,
// to the cent, and everything is there that they ask for; else it is plain UBL, and says why.
//
// Where sales tax applies it is plain UBL with the tax scheme "SalesTax": one subtotal for each
// jurisdiction, rate and treatment, as they were computed on the day of issue. In Canada the scheme is
// the name of the tax.
//
// It computes no tax anew and changes no figure: the document that was issued is what is written.
package ubl
