// Package webhook speaks Standard Webhooks 1.0.0 in both directions: it signs and delivers
// events to shop systems, and it receives what payers send.
//
// It refuses more than the specification demands. A receiver takes exactly one of each header,
// an identifier of a safe alphabet, a timestamp in its one canonical form within 300 seconds,
// at most eight well-formed signatures, secrets of 24 to 64 bytes, and JSON whose keys nobody
// can read in two ways. It stores what arrived and does nothing else with it. A deliverer
// reaches public addresses only, follows no redirect, and believes only 2xx.
package webhook
