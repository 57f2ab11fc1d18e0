package command

import (
	"fmt"
	"os"

	"google.golang.org/protobuf/encoding/protojson"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

type recordCommand struct {
	Files []string `arg:"" help:"JSON files, each a RepairRecord as the API takes it." type:"existingfile"`
}

// Run records completed repairs, each by itself; the first that is refused ends it.
func (c *recordCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	for _, name := range c.Files {
		text, err := os.ReadFile(name)
		if err != nil {
			return fmt.Errorf("read a record: %w", err)
		}
		record := &jobsv1.RepairRecord{}
		if err := protojson.Unmarshal(text, record); err != nil {
			return &failure{exitUsage, fmt.Errorf("%s: %w", name, err)}
		}
		answer, err := server.Jobs.RecordJob(w, &jobsv1.RecordJobRequest{Record: record})
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if w.globals.JSON {
			if err := w.printJSON(answer); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(w.out, "%s %s %s\n", answer.GetJob().GetJobId(), record.GetExternalReference(), answer.GetJob().GetVehicleDescription())
	}
	return nil
}
