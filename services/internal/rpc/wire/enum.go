package wire

import "strings"

// Word gives an enum value as the domain writes it: PAYER_KIND_FLEET without "PAYER_KIND_" is FLEET;
// empty for the value 0, which says nothing. Prefix is that of the enum, "PAYER_KIND_".
func Word[W ~string, E interface {
	~int32
	String() string
}](prefix string, value E) W {
	if value == 0 {
		return ""
	}
	return W(strings.TrimPrefix(value.String(), prefix))
}

// Value is the way back from Word: values is the generated map from names to numbers, PayerKind_value.
// A word that the enum does not know gives 0.
func Value[E ~int32, W ~string](values map[string]int32, prefix string, word W) E {
	return E(values[prefix+string(word)])
}
