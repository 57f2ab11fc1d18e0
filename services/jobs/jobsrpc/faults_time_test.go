package jobsrpc_test

import (
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/jobs"
)

type timeField struct {
	path string
	at   func(*jobsv1.RepairRecord) **timestamppb.Timestamp
}

func times() []timeField {
	return []timeField{
		{"start_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.StartTime }},
		{"finish_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.FinishTime }},
		{"damages[0].process.start_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.Damages[0].Process.StartTime }},
		{"damages[0].process.injection_end_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.Damages[0].Process.InjectionEndTime }},
		{"damages[0].process.cure_start_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.Damages[0].Process.CureStartTime }},
		{"damages[0].process.end_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.Damages[0].Process.EndTime }},
		{"coverage.authorization.give_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.Coverage.Authorization.GiveTime }},
		{"work_authorization.sign_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.WorkAuthorization.SignTime }},
		{"payment_authorization.sign_time", func(m *jobsv1.RepairRecord) **timestamppb.Timestamp { return &m.PaymentAuthorization.SignTime }},
	}
}

func timeFaults() (all []fault) {
	for _, field := range times() {
		name := nameOf(field.path)
		for _, kind := range []struct {
			name, reason string
			at           *timestamppb.Timestamp
		}{
			{"with-a-billion-nanoseconds", "NOT_A_TIME", &timestamppb.Timestamp{Seconds: now.Unix() - 3600, Nanos: 1_000_000_000}},
			{"with-nanoseconds-below-zero", "NOT_A_TIME", &timestamppb.Timestamp{Seconds: now.Unix() - 3600, Nanos: -1}},
			{"after-the-year-9999", "NOT_A_TIME", &timestamppb.Timestamp{Seconds: math.MaxInt64}},
			{"before-the-year-1", "NOT_A_TIME", &timestamppb.Timestamp{Seconds: math.MinInt64}},
			{"in-the-future", "FUTURE", timestamppb.New(now.Add(jobs.Ahead + time.Microsecond))},
			{"of-1970", "TOO_OLD", &timestamppb.Timestamp{}},
		} {
			all = append(all, broken(name+"-"+kind.name, field.path, kind.reason,
				func(m *jobsv1.RepairRecord) { *field.at(m) = kind.at }))
		}
	}
	return append(all, broken("finish-time-before-start-time", "finish_time", "ORDER", func(m *jobsv1.RepairRecord) {
		m.FinishTime = timestamppb.New(m.GetStartTime().AsTime().Add(-time.Microsecond))
	}, "start_time"))
}
