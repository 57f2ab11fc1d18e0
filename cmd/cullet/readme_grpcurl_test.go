package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
)

// A line of grpcurl: what is sent (nothing, or the file at its end) and to what.
var grpcurl = regexp.MustCompile(`^grpcurl -plaintext -H "authorization: Bearer \$KEY"( -d @)? localhost:9440 (\S+)(?: < (\S+))?$`)

// grpcurlLine does by hand what grpcurl does with the line: it asks the server's reflection for the
// contract, makes the message of the JSON with nothing else, and calls. It is not grpcurl: whether
// that program takes its own flags so is not shown here.
func (r *readme) grpcurlLine(t *testing.T, line string, jobs map[string]bool) {
	t.Helper()
	words := grpcurl.FindStringSubmatch(line)
	if words == nil || (words[1] == "") != (words[3] == "") {
		t.Errorf("nobody knows how to try %q", line)
		return
	}
	c := r.reflective(t)
	if words[2] == "list" {
		if names := c.list(t); !strings.Contains(names, "cullet.jobs.v1.JobService") {
			t.Errorf("%s\nlists only %s", line, names)
		}
		return
	}
	request := []byte("{}")
	if words[3] != "" {
		var err error
		if request, err = os.ReadFile(filepath.Join(r.place, words[3])); err != nil {
			t.Fatal(err)
		}
	}
	answer, err := c.call(words[2], request)
	if err != nil {
		t.Errorf("%s\n%v", line, err)
		return
	}
	if fd := answer.Descriptor().Fields().ByName("job"); fd != nil {
		job := answer.Get(fd).Message()
		jobs[job.Get(job.Descriptor().Fields().ByName("job_id")).String()] = true
	}
}

// reflective is a connection that knows the contract only from the server's reflection.
type reflective struct {
	ctx  context.Context
	conn *grpc.ClientConn
}

func (r *readme) reflective(t *testing.T) reflective {
	t.Helper()
	conn, err := grpc.NewClient(r.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	_, key, _ := strings.Cut(strings.Join(r.variables, "\n"), "KEY=")
	return reflective{metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+key), conn}
}

func (c reflective) ask(request *grpc_reflection_v1.ServerReflectionRequest) (*grpc_reflection_v1.ServerReflectionResponse, error) {
	stream, err := grpc_reflection_v1.NewServerReflectionClient(c.conn).ServerReflectionInfo(c.ctx)
	if err != nil {
		return nil, err
	}
	if err := stream.Send(request); err != nil {
		return nil, err
	}
	defer func() { _ = stream.CloseSend() }()
	return stream.Recv()
}

func (c reflective) list(t *testing.T) string {
	t.Helper()
	answer, err := c.ask(&grpc_reflection_v1.ServerReflectionRequest{
		MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprint(answer.GetListServicesResponse().GetService())
}

// method finds "package.Service/Method".
func (c reflective) method(name string) (protoreflect.MethodDescriptor, error) {
	service, method, _ := strings.Cut(name, "/")
	answer, err := c.ask(&grpc_reflection_v1.ServerReflectionRequest{
		MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: service}})
	if err != nil {
		return nil, err
	}
	set := &descriptorpb.FileDescriptorSet{}
	for _, encoded := range answer.GetFileDescriptorResponse().GetFileDescriptorProto() {
		file := &descriptorpb.FileDescriptorProto{}
		if err := proto.Unmarshal(encoded, file); err != nil {
			return nil, err
		}
		set.File = append(set.File, file)
	}
	files, err := protodesc.NewFiles(set)
	if err != nil {
		return nil, err
	}
	found, err := files.FindDescriptorByName(protoreflect.FullName(service + "." + method))
	if err != nil {
		return nil, err
	}
	return found.(protoreflect.MethodDescriptor), nil
}

// call sends JSON to a method and gives the answer.
func (c reflective) call(name string, text []byte) (protoreflect.Message, error) {
	method, err := c.method(name)
	if err != nil {
		return nil, fmt.Errorf("the server does not know %s: %w", name, err)
	}
	request, answer := dynamicpb.NewMessage(method.Input()), dynamicpb.NewMessage(method.Output())
	if err := protojson.Unmarshal(text, request); err != nil {
		return nil, err
	}
	return answer, c.conn.Invoke(c.ctx, "/"+name, request, answer)
}
