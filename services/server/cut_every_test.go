package server_test

import (
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// changes are the calls that are cut here, in groups that run side by side.
var changes = map[string][]change{"Shop": shopChanges, "Partners": partners, "Claims": claimChanges, "Releases": releases,
	"Resubmissions": resubmissions, "Replacements": replacements, "Motorists": motorists, "Deposits": deposits, "Nights": nights, "Corrections": corrections,
	"Undone": undone, "Closings": closings}

// elsewhere are the calls that another test cuts, "folder file test".
var elsewhere = map[string]string{
	jobsv1.JobService_RecordJob_FullMethodName:         "../jobs/jobsrpc/cut_test.go TestRecordCut",
	jobsv1.JobService_AmendJob_FullMethodName:          "../jobs/jobsrpc/cut_test.go TestAmendCut",
	jobsv1.JobService_ImportJobs_FullMethodName:        "../jobs/jobsrpc/import_cut_test.go TestImportJobsCut",
	jobsv1.JobService_SaveColumnMapping_FullMethodName: "../jobs/jobsrpc/import_cut_test.go TestSaveColumnMappingCut",
	jobsv1.JobService_UploadPhoto_FullMethodName:       "../jobs/jobsrpc/cut_test.go TestUploadCut",
}

// byContent are the changes without a request id: the same content is the same thing.
var byContent = []string{jobsv1.JobService_UploadPhoto_FullMethodName}

// openings are not changes that a repetition could double: each call is an opening of its own, and is
// written down before its first byte leaves.
var openings = []string{jobsv1.JobService_GetOriginalPhoto_FullMethodName}

// harmless are the calls that ask for a right to change something, and change nothing.
var harmless = map[string]func(*testing.T, *cutHouse) proto.Message{
	accessv1.AccessService_ListKeys_FullMethodName: func(*testing.T, *cutHouse) proto.Message { return &accessv1.ListKeysRequest{} },
	accessv1.AccessService_ListAuditEntries_FullMethodName: func(*testing.T, *cutHouse) proto.Message {
		return &accessv1.ListAuditEntriesRequest{}
	},
	claimsv1.ClaimService_PreviewClaim_FullMethodName: func(t *testing.T, h *cutHouse) proto.Message {
		return &claimsv1.PreviewClaimRequest{Record: h.record(t, true)}
	},
	payersv1.PayerService_TryPayerProfile_FullMethodName: func(t *testing.T, h *cutHouse) proto.Message {
		return h.tryProfile(t, func(*payersv1.PayerProfile) {})
	},
	jobsv1.JobService_GetPhotoUpload_FullMethodName: func(*testing.T, *cutHouse) proto.Message {
		return &jobsv1.GetPhotoUploadRequest{PhotoHash: strings.Repeat("ab", 32)}
	},
	jobsv1.JobService_AssessDamage_FullMethodName: func(t *testing.T, h *cutHouse) proto.Message {
		return &jobsv1.AssessDamageRequest{Glass: h.record(t, true).GetGlass(), Damages: h.record(t, true).GetDamages()}
	},
}

// TestEveryChangeHasOneEffect: whatever single message of PostgreSQL is lost, and the connection with
// it, every change has its one effect, and its repetition is answered as the first call was, or was
// to be.
func TestEveryChangeHasOneEffect(t *testing.T) {
	t.Parallel()
	var running sync.WaitGroup
	for name, group := range changes {
		// Not t.Parallel, which lets no more run at once than there are processors: a call that was
		// cut mostly waits before it is tried again.
		running.Go(func() {
			t.Run(name, func(t *testing.T) {
				h := openCutHouse(t)
				for _, c := range group {
					t.Run(c.name(), func(t *testing.T) { h.everywhere(t, c) })
				}
				h.booksHold(t)
				h.everythingIsTold(t)
			})
		})
	}
	running.Wait()
}

// booksHold asks for all laws of the books, as the doctor does.
func (h *cutHouse) booksHold(t *testing.T) {
	t.Helper()
	answer, err := h.Invoices.CheckBooks(t.Context(), &invoicesv1.CheckBooksRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, check := range answer.GetChecks() {
		if !check.GetIsHolding() {
			t.Errorf("%s: %s", check.GetName(), check.GetSentence())
		}
	}
}

// TestEveryChangeIsCut holds the lists above to the contract: a method changes something when its
// request has a request id, or when its right is more than to read.
func TestEveryChangeIsCut(t *testing.T) {
	t.Parallel()
	cut := map[string]bool{}
	for _, group := range changes {
		for _, c := range group {
			cut[c.method] = true
		}
	}
	known := map[string]bool{}
	for _, m := range methodsOf(t, servicesOfTheContract(t)) {
		name := "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
		known[name] = true
		hasID := m.Input().Fields().ByName("request_id") != nil
		right := rightOf(m)
		isChange := hasID || harmless[name] == nil && !slices.Contains(openings, name) && right != accessv1.Right_RIGHT_ANY && right != accessv1.Right_RIGHT_READ
		if isCut := cut[name] || elsewhere[name] != ""; isCut != isChange {
			t.Errorf("%s: cut by a test %v, a change %v; add a change that is cut", name, isCut, isChange)
		}
		if isChange && !hasID && !slices.Contains(byContent, name) {
			t.Errorf("%s changes something, and its request has no request_id", name)
		}
		if hasID && harmless[name] != nil {
			t.Errorf("%s is listed as harmless and has a request_id", name)
		}
	}
	for name := range elsewhere {
		file, test, _ := strings.Cut(elsewhere[name], " ")
		text, err := os.ReadFile(file)
		if err != nil || !strings.Contains(string(text), "\nfunc "+test+"(t *testing.T) {") {
			t.Errorf("%s: there is no %s in %s: %v", name, test, file, err)
		}
		cut[name] = true
	}
	for name := range harmless {
		cut[name] = true
	}
	for name := range cut {
		if !known[name] {
			t.Errorf("%s is listed and the contract has no such method", name)
		}
	}
	if len(known) < 40 {
		t.Errorf("the contract has only %d methods", len(known))
	}
}

var serviceForm = regexp.MustCompile(`(?m)^service (\w+) \{`)

// servicesOfTheContract gives the full names of all services that the .proto files have, so that one
// whose code nobody imports yet is noticed.
func servicesOfTheContract(t *testing.T) (names []string) {
	t.Helper()
	contract := os.DirFS("../../proto")
	err := fs.WalkDir(contract, "cullet", func(file string, _ fs.DirEntry, err error) error {
		if err != nil || path.Ext(file) != ".proto" {
			return err
		}
		text, err := fs.ReadFile(contract, file)
		for _, found := range serviceForm.FindAllStringSubmatch(string(text), -1) {
			names = append(names, strings.ReplaceAll(path.Dir(file), "/", ".")+"."+found[1])
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	var linked []string
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			if name := string(file.Services().Get(i).FullName()); strings.HasPrefix(name, "cullet.") {
				linked = append(linked, name)
			}
		}
		return true
	})
	slices.Sort(names)
	slices.Sort(linked)
	if !slices.Equal(names, linked) {
		t.Errorf("the files have the services %v and the program %v", names, linked)
	}
	return names
}

// TestHarmlessCallsChangeNothing: no number of the database moves.
func TestHarmlessCallsChangeNothing(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	for method, request := range harmless {
		before := h.measure()
		if _, err := h.call(t, method, request(t, h)); err != nil {
			t.Errorf("%s: %v", method, err)
		}
		if grown := h.measure().since(before); len(grown) > 0 {
			t.Errorf("%s changed %v", method, grown)
		}
	}
}
