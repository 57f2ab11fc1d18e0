package rpc

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc/metadata"

	"cullet/services/errs"
)

// gatewayFaults is the metadata key under which the JSON gateway hands on what it could not read
// in a body, so that a caller hears of these faults and of all others in one answer. Whoever sends
// it himself can only get his own request refused.
const gatewayFaults = "cullet-faults-bin"

// WithGatewayFaults adds faults to the outgoing metadata of a call.
func WithGatewayFaults(ctx context.Context, faults []errs.Field) (context.Context, error) {
	if len(faults) == 0 {
		return ctx, nil
	}
	encoded, err := carry(faults)
	if err != nil {
		return ctx, err
	}
	return metadata.AppendToOutgoingContext(ctx, gatewayFaults, string(encoded)), nil
}

// joinFaults puts the guard's faults behind the gateway's and leaves out those that only follow from
// them: a field that could not be read is empty by then.
func joinFaults(gateway, own []errs.Field) []errs.Field {
	for _, f := range own {
		if !slices.ContainsFunc(gateway, func(g errs.Field) bool { return isWithin(f.Path, g.Path) }) {
			gateway = append(gateway, f)
		}
	}
	return gateway
}

func isWithin(path, outer string) bool {
	rest, ok := strings.CutPrefix(path, outer)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}

func faultsOfGateway(ctx context.Context) []errs.Field {
	values := metadata.ValueFromIncomingContext(ctx, gatewayFaults)
	if len(values) == 0 {
		return nil
	}
	faults := readFaults([]byte(values[0]))
	if len(faults) == 0 {
		return []errs.Field{{Path: "request", Reason: "MALFORMED", Message: "the body could not be read"}}
	}
	return faults
}
