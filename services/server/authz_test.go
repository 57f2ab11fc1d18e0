package server_test

import (
	"context"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/server/servertest"
)

// listServices asks the server itself what it serves.
func listServices(t *testing.T, w *servertest.World) []string {
	t.Helper()
	stream, err := grpc_reflection_v1.NewServerReflectionClient(w.Raw()).ServerReflectionInfo(as(t.Context(), w.OwnerKey))
	if err != nil {
		t.Fatal(err)
	}
	err = stream.Send(&grpc_reflection_v1.ServerReflectionRequest{
		MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
	if err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range answer.GetListServicesResponse().GetService() {
		names = append(names, s.GetName())
	}
	return names
}

func as(ctx context.Context, key string) context.Context {
	if key == "" {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+key)
}

// methodsOf gives the methods of every service of ours, from their descriptors.
func methodsOf(t *testing.T, services []string) (methods []protoreflect.MethodDescriptor) {
	t.Helper()
	for _, name := range services {
		if !strings.HasPrefix(name, "cullet.") {
			continue
		}
		found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
		if err != nil {
			t.Fatalf("%s is served and has no descriptor: %v", name, err)
		}
		all := found.(protoreflect.ServiceDescriptor).Methods()
		for i := range all.Len() {
			methods = append(methods, all.Get(i))
		}
	}
	return methods
}

func rightOf(m protoreflect.MethodDescriptor) accessv1.Right {
	right, _ := proto.GetExtension(m.Options(), accessv1.E_Right).(accessv1.Right)
	return right
}

// call sends an empty request and gives the code of the answer.
func call(ctx context.Context, conn *grpc.ClientConn, m protoreflect.MethodDescriptor) codes.Code {
	path := "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
	request, answer := dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output())
	if !m.IsStreamingClient() && !m.IsStreamingServer() {
		return status.Code(conn.Invoke(ctx, path, request, answer))
	}
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, path)
	if err != nil {
		return status.Code(err)
	}
	if err := stream.SendMsg(request); err != nil && err != io.EOF {
		return status.Code(err)
	}
	if err := stream.CloseSend(); err != nil {
		return status.Code(err)
	}
	for {
		if err := stream.RecvMsg(answer); err == io.EOF {
			return codes.OK
		} else if err != nil {
			return status.Code(err)
		}
	}
}

// mayCall is the matrix written out once more, so that a change of the program's own table shows.
var mayCall = map[access.Role][]accessv1.Right{
	access.Owner: {accessv1.Right_RIGHT_ANY, accessv1.Right_RIGHT_READ, accessv1.Right_RIGHT_RECORD, accessv1.Right_RIGHT_CLAIM,
		accessv1.Right_RIGHT_MONEY, accessv1.Right_RIGHT_RUN, accessv1.Right_RIGHT_ADMINISTER},
	access.Clerk: {accessv1.Right_RIGHT_ANY, accessv1.Right_RIGHT_READ, accessv1.Right_RIGHT_RECORD, accessv1.Right_RIGHT_CLAIM,
		accessv1.Right_RIGHT_MONEY, accessv1.Right_RIGHT_RUN},
	access.System: {accessv1.Right_RIGHT_ANY, accessv1.Right_RIGHT_READ, accessv1.Right_RIGHT_RECORD},
	access.Reader: {accessv1.Right_RIGHT_ANY, accessv1.Right_RIGHT_READ},
}

func TestEveryMethodAsksForItsRight(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	conn := w.Raw()
	methods := methodsOf(t, listServices(t, w))
	if len(methods) < 20 {
		t.Fatalf("only %d methods are served", len(methods))
	}
	keys := map[access.Role]string{}
	for role := range mayCall {
		keys[role] = w.Key(role)
	}
	for _, m := range methods {
		t.Run(string(m.FullName()), func(t *testing.T) {
			t.Parallel()
			right := rightOf(m)
			if right == accessv1.Right_RIGHT_UNSPECIFIED {
				t.Fatal("the contract gives it no right, so nobody can call it")
			}
			for name, key := range map[string]string{"nobody": "", "a text that is no key": "cullet_x",
				"a key that nobody has": string(access.NewSecret())} {
				if got := call(as(t.Context(), key), conn, m); got != codes.Unauthenticated {
					t.Errorf("%s: %s, want Unauthenticated", name, got)
				}
			}
			for role, rights := range mayCall {
				got := call(as(t.Context(), keys[role]), conn, m)
				switch isAllowed := slices.Contains(rights, right); {
				case !isAllowed && got != codes.PermissionDenied:
					t.Errorf("%s: %s, want PermissionDenied", role, got)
				case isAllowed && slices.Contains([]codes.Code{codes.PermissionDenied, codes.Unauthenticated,
					codes.Unimplemented, codes.Internal, codes.Unknown}, got):
					t.Errorf("%s: %s, want whatever an empty request is answered", role, got)
				}
			}
		})
	}
}

func TestEndedKeysOpenNothing(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	ctx := t.Context()
	revoked, err := w.Access.CreateKey(ctx, &accessv1.CreateKeyRequest{Name: "lost tablet", Role: accessv1.Role_ROLE_SYSTEM})
	if err != nil {
		t.Fatal(err)
	}
	client := accessv1.NewAccessServiceClient(w.Raw())
	mine := as(ctx, revoked.GetSecret())
	if _, err := client.GetCaller(mine, &accessv1.GetCallerRequest{}); err != nil {
		t.Fatalf("before it was revoked: %v", err)
	}
	stream, err := grpc_reflection_v1.NewServerReflectionClient(w.Raw()).ServerReflectionInfo(mine)
	if err != nil {
		t.Fatal(err)
	}
	if err := ask(stream); err != nil {
		t.Fatalf("before it was revoked: %v", err)
	}
	if _, err := w.Access.RevokeKey(ctx, &accessv1.RevokeKeyRequest{KeyId: revoked.GetKey().GetKeyId()}); err != nil {
		t.Fatal(err)
	}
	until(t, "a call with the revoked key is refused", func() bool {
		_, err := client.GetCaller(mine, &accessv1.GetCallerRequest{})
		return status.Code(err) == codes.Unauthenticated
	})
	if err := ask(stream); status.Code(err) != codes.Unauthenticated {
		t.Errorf("a stream that was open before: %v, want Unauthenticated", err)
	}
}

func ask(stream grpc_reflection_v1.ServerReflection_ServerReflectionInfoClient) error {
	err := stream.Send(&grpc_reflection_v1.ServerReflectionRequest{
		MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
	if err != nil && err != io.EOF {
		return err
	}
	_, err = stream.Recv()
	return err
}

// until asks again and again, for at most the time after which something hangs.
func until(t *testing.T, what string, holds func() bool) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !holds() {
		if time.Now().After(deadline) {
			t.Fatalf("it never came that %s", what)
		}
		<-time.After(10 * time.Millisecond) // between two looks, not before a verdict
	}
}

func TestReflectionNeedsAKeyAndHealthDoesNot(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	stream, err := grpc_reflection_v1.NewServerReflectionClient(w.Raw()).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := ask(stream); status.Code(err) != codes.Unauthenticated {
		t.Errorf("reflection without a key: %v, want Unauthenticated", err)
	}
	if err := w.Dial("").Wait(t.Context()); err != nil {
		t.Errorf("health without a key: %v", err)
	}
	err = w.Raw().Invoke(as(t.Context(), w.OwnerKey), "/cullet.access.v1.AccessService/Nothing",
		&accessv1.GetCallerRequest{}, &accessv1.GetCallerResponse{})
	if status.Code(err) != codes.Unimplemented {
		t.Errorf("an unknown method: %v, want Unimplemented", err)
	}
}
