package server_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	accessv1 "cullet/proto/cullet/access/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/access"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

// running is a server with a private PostgreSQL of its own.
type running struct {
	*client.Client
	addresses server.Addresses
	cancel    context.CancelFunc
	ended     chan error
}

// stateFolder gives a folder that the user as whom PostgreSQL runs may enter.
func stateFolder(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "cullet-server-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil {
		t.Fatal(err)
	}
	return folder
}

// run starts the server in a folder; key holds the owner's key from the first start on.
func run(t *testing.T, folder string, key *string) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{cancel: cancel, ended: make(chan error, 1)}
	ready := make(chan server.Addresses, 1)
	config := server.Config{State: folder, GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0",
		Postgres: server.Postgres{IsThrowaway: true}, Ready: func(a server.Addresses) { ready <- a },
		First: &server.First{Shop: servertest.Shop(), KeyName: "owner", Keep: func(_ ident.Shop, s access.Secret) error {
			*key = string(s)
			return nil
		}}}
	go func() { r.ended <- server.Run(ctx, config, server.Outside{}) }()
	select {
	case r.addresses = <-ready:
	case err := <-r.ended:
		cancel()
		if known := (*errs.Error)(nil); errors.As(err, &known) && known.Reason == "NO_POSTGRES" {
			line := "NOT RUN: " + t.Name() + " needs PostgreSQL - apt-get install postgresql"
			os.Stderr.WriteString(line + "\n")
			t.Skip(line)
		}
		t.Fatalf("start: %v", err)
	}
	var err error
	if r.Client, err = client.Dial(t.Context(), client.Config{Address: r.addresses.GRPC, Key: *key}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.stop(t) })
	return r
}

func (r *running) stop(t *testing.T) {
	t.Helper()
	r.cancel()
	err, isFirst := <-r.ended
	if isFirst {
		close(r.ended)
	}
	if err != nil {
		t.Errorf("stop: %v", err)
	}
	_ = r.Close()
}

func TestThePrivateServerKeepsItsDataAndItsKeys(t *testing.T) {
	t.Parallel()
	// The folder is closed to others, as a careful administrator or another package makes it.
	folder := filepath.Join(stateFolder(t), "state")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	key := ""
	first := run(t, folder, &key)
	made, err := first.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{
		Customer: &customersv1.Customer{Name: "Kept over a restart"}})
	if err != nil {
		t.Fatal(err)
	}
	page, err := first.Access.ListKeys(t.Context(), &accessv1.ListKeysRequest{PageSize: 1})
	if err != nil || page.GetNextPageToken() != "" {
		t.Fatalf("keys after the first start: %v, %v", page, err)
	}
	first.stop(t)
	kept := key

	second := run(t, folder, &key)
	if key != kept {
		t.Error("the second start made another first shop")
	}
	read, err := second.Customers.GetCustomer(t.Context(),
		&customersv1.GetCustomerRequest{CustomerId: made.GetCustomer().GetCustomerId()})
	if err != nil || read.GetCustomer().GetName() != "Kept over a restart" {
		t.Errorf("after the restart: %v, %v", read, err)
	}
	info, err := os.Stat(filepath.Join(folder, "master-key"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("master key: %v, %v; want mode 0600", info, err)
	}
}

// Callers whose PostgreSQL dies get UNAVAILABLE with a retry hint or, after it came back, their
// answer; what was answered is stored, and nothing is stored twice.
func TestPostgresDiesWhileCallsAreInFlight(t *testing.T) {
	t.Parallel()
	folder := stateFolder(t)
	key := ""
	r := run(t, folder, &key)
	conn, err := grpc.NewClient(r.addresses.GRPC, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	raw := customersv1.NewCustomerServiceClient(conn)
	ctx := as(t.Context(), key)

	const callers, each = 4, 25
	answered := make(chan int, callers)
	for caller := range callers {
		go func() {
			n := 0
			for i := range each {
				request := &customersv1.CreateCustomerRequest{RequestId: "r-" + strconv.Itoa(caller) + "-" + strconv.Itoa(i),
					Customer: &customersv1.Customer{Name: "Customer"}}
				for {
					_, err := raw.CreateCustomer(ctx, request)
					if err == nil {
						n++
						break
					}
					if code := status.Code(err); code != codes.Unavailable && code != codes.DeadlineExceeded {
						t.Errorf("a caller got %v, want Unavailable", err)
						break
					}
				}
			}
			answered <- n
		}()
	}
	until(t, "some calls were answered", func() bool {
		page, err := r.Customers.ListCustomers(t.Context(), &customersv1.ListCustomersRequest{PageSize: 5})
		return err == nil && len(page.GetCustomers()) > 0
	})
	kill(t, folder)
	total := 0
	for range callers {
		total += <-answered
	}
	if total != callers*each {
		t.Errorf("%d calls were answered, want %d", total, callers*each)
	}
	stored := 0
	token := ""
	for {
		page, err := r.Customers.ListCustomers(t.Context(), &customersv1.ListCustomersRequest{PageSize: 200, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		stored += len(page.GetCustomers())
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if stored != callers*each {
		t.Errorf("%d customers are stored, want %d", stored, callers*each)
	}
	if err := r.Wait(t.Context()); err != nil {
		t.Errorf("health after PostgreSQL came back: %v", err)
	}
}

// kill ends PostgreSQL as the kernel would when memory is short.
func kill(t *testing.T, folder string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "postgres", "*", "postmaster.pid"))
	if err != nil || len(files) != 1 {
		t.Fatalf("find the postmaster: %v, %v", files, err)
	}
	text, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(line)
	if err != nil || pid < 2 {
		t.Fatalf("the postmaster's process is %q", line)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}

func TestAStopDoesNotWaitForWatchers(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{})
	watch, err := grpc_health_v1.NewHealthClient(w.Raw()).Watch(t.Context(), &grpc_health_v1.HealthCheckRequest{
		Service: "cullet.access.v1.AccessService"})
	if err != nil {
		t.Fatal(err)
	}
	if answer, err := watch.Recv(); err != nil || answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
		t.Fatalf("before the stop: %v, %v", answer, err)
	}
	if err := w.Stop(); err != nil {
		t.Errorf("stop with an open watch: %v", err)
	}
	for {
		answer, err := watch.Recv()
		if err != nil {
			break
		}
		if answer.GetStatus() != grpc_health_v1.HealthCheckResponse_NOT_SERVING {
			t.Errorf("the watcher heard %s while the server went", answer.GetStatus())
		}
	}
}

func TestWhatCannotStartSaysWhy(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		config server.Config
		want   string
	}{
		{"no state and no key", server.Config{RuntimeDSN: "host=127.0.0.1 port=1"}, "master key"},
		{"no database", server.Config{State: t.TempDir(), RuntimeDSN: "host=127.0.0.1 port=1 sslmode=disable"}, "database"},
		{"a bad key", server.Config{RuntimeDSN: "host=127.0.0.1 port=1", MasterKeys: "x"}, "malformed"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			err := server.Run(t.Context(), test.config, server.Outside{})
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("error = %v, want one about %q", err, test.want)
			}
		})
	}
	t.Run("a bad first shop", func(t *testing.T) {
		t.Parallel()
		w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
		shop := servertest.Shop()
		shop.TimeZone = "Columbus"
		err := server.Run(t.Context(), server.Config{RuntimeDSN: w.RuntimeDSN, MasterKeys: w.MasterKeys,
			First: &server.First{Shop: shop}}, server.Outside{})
		if !errs.Is(err, errs.Invalid) || !strings.Contains(err.Error(), "shop.time_zone") {
			t.Errorf("error = %v, want one about shop.time_zone", err)
		}
	})
}
