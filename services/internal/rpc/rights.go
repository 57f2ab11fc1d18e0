package rpc

import (
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
)

// Limits is what a room may set apart from the rule for one of its methods.
type Limits struct {
	// Maximum is how long a call may take; 30 seconds when zero.
	Maximum time.Duration
	// Bytes is the largest bytes field; 64 KiB when zero.
	Bytes int
	// Collects leaves the faults that the guard finds in the request to the handler, which then
	// reports them together with its own by Refuse. Once refuses them all the same.
	Collects bool
}

const (
	defaultMaximum = 30 * time.Second
	defaultBytes   = 64 << 10
)

// rule is what the guard demands of one method.
type rule struct {
	right access.Right
	// isOpen lets anybody in, without a key.
	isOpen bool
	// isForeign is for gRPC's own services, whose statuses are left as they are.
	isForeign bool
	// isEndless is for streams that last as long as the caller likes.
	isEndless bool
	Limits
}

// public are the methods of gRPC's own services. Reflection shows the contract to whoever has any
// key; health is asked by machines that have none.
var public = map[string]rule{
	"/grpc.health.v1.Health/Check":                                   {isOpen: true, isForeign: true},
	"/grpc.health.v1.Health/List":                                    {isOpen: true, isForeign: true},
	"/grpc.health.v1.Health/Watch":                                   {isOpen: true, isForeign: true, isEndless: true},
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {right: access.AnyKey, isForeign: true, isEndless: true},
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {right: access.AnyKey, isForeign: true, isEndless: true},
}

// rulesOf reads the rights of all registered services from their descriptors. A method whose
// descriptor or right is missing gets no rule, and a method without a rule is closed.
func rulesOf(services map[string]grpc.ServiceInfo, limits map[string]Limits) map[string]rule {
	rules := make(map[string]rule, 80)
	for name, info := range services {
		for _, m := range info.Methods {
			full := "/" + name + "/" + m.Name
			if r, ok := public[full]; ok {
				rules[full] = r
			} else if right, ok := rightOf(name, m.Name); ok {
				rules[full] = rule{right: right, Limits: limits[full]}
			}
		}
	}
	return rules
}

func rightOf(service, method string) (access.Right, bool) {
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(
		protoreflect.FullName(service + "." + method))
	if err != nil {
		return "", false
	}
	options := found.Options()
	if !proto.HasExtension(options, accessv1.E_Right) {
		return "", false
	}
	right, ok := proto.GetExtension(options, accessv1.E_Right).(accessv1.Right)
	if !ok || right == accessv1.Right_RIGHT_UNSPECIFIED {
		return "", false
	}
	return access.Right(strings.TrimPrefix(right.String(), "RIGHT_")), true
}
