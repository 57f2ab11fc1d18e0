package claimspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/money"
)

// tasks is every reason for a person, from how things stand. $1 is the shop, $2 the instant.
const tasks = `
WITH desk AS (
  SELECT p.payer_id, p.name, coalesce(f.profile ->> 'telephone', '') AS telephone, coalesce(f.profile ->> 'hours', '') AS hours,
    coalesce((f.profile ->> 'is_released_by_itself')::boolean, false) AS by_itself
  FROM payers p JOIN payer_profiles f ON f.shop_id = p.shop_id AND f.payer_id = p.payer_id AND f.version = p.profile_version
  WHERE p.shop_id = $1
), from_claims AS (
  SELECT CASE
      WHEN c.state IN ('DRAFT', 'READY') AND c.hold_reason <> '' THEN 'HELD'
      WHEN c.state = 'DRAFT' THEN 'STOPPED'
      WHEN c.state = 'READY' THEN 'READY_TO_RELEASE'
      ELSE c.state END AS reason,
    c.claim_id::text AS key, c.claim_id::text AS claim_id, c.sequence, '' AS remittance_id, '' AS message_id,
    d.name AS payer_name, c.motorist_name, CASE WHEN c.total > 0 THEN c.payer_share ELSE c.total END AS amount, c.currency_code,
    coalesce(to_char(CASE WHEN c.hold_reason <> '' THEN c.hold_until ELSE c.filing_deadline END, 'YYYY-MM-DD'), '') AS due_date,
    d.telephone, d.hours,
    CASE WHEN c.hold_reason <> '' THEN c.hold_reason
      WHEN c.state = 'DRAFT' THEN coalesce((SELECT (x ->> 'sentence') || ' ' || (x ->> 'fix') FROM claim_contents t,
        jsonb_array_elements(t.findings) x WHERE t.shop_id = c.shop_id AND t.claim_id = c.claim_id AND x ->> 'severity' = 'STOP' LIMIT 1), '')
      ELSE c.payer_reason END AS words
  FROM claims c JOIN desk d ON d.payer_id = c.payer_id
  WHERE c.shop_id = $1 AND c.state IN ('DRAFT', 'READY', 'REJECTED', 'INFORMATION_REQUESTED', 'DENIED')
    AND NOT (c.state = 'READY' AND c.hold_reason = '' AND d.by_itself)
), overdue AS (
  SELECT 'ANSWER_OVERDUE' AS reason, c.claim_id::text AS key, c.claim_id::text AS claim_id, c.sequence, '' AS remittance_id,
    '' AS message_id, d.name AS payer_name, c.motorist_name, c.payer_share AS amount, c.currency_code,
    to_char(c.answer_due, 'YYYY-MM-DD') AS due_date, d.telephone, d.hours, '' AS words
  FROM claims c JOIN desk d ON d.payer_id = c.payer_id
  WHERE c.shop_id = $1 AND c.state IN ('SUBMITTED', 'ACKNOWLEDGED') AND c.answer_due < $2
), short AS (
  SELECT 'SHORT_PAID' AS reason, r.receivable_id::text AS key, coalesce(c.claim_id::text, '') AS claim_id,
    coalesce(c.sequence, 0) AS sequence, '' AS remittance_id, '' AS message_id, d.name AS payer_name,
    coalesce(c.motorist_name, '') AS motorist_name, r.open_amount AS amount, r.currency_code,
    to_char(r.due_date, 'YYYY-MM-DD') AS due_date, d.telephone, d.hours,
    (SELECT l.reason_code || ' ' || l.reason_text FROM allocations a JOIN remittance_lines l ON l.shop_id = a.shop_id
      AND l.remittance_id = a.remittance_id AND l.line_number = a.line_number
      WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id ORDER BY a.create_time DESC LIMIT 1) AS words
  FROM receivables r JOIN desk d ON d.payer_id = r.payer_id
  LEFT JOIN LATERAL (SELECT k.claim_id, k.sequence, k.motorist_name FROM claims k
    WHERE k.shop_id = r.shop_id AND k.invoice_id = r.invoice_id ORDER BY k.sequence LIMIT 1) c ON true
  WHERE r.shop_id = $1 AND r.open_amount > 0 AND r.open_amount < r.amount
    AND EXISTS (SELECT FROM allocations a WHERE a.shop_id = r.shop_id AND a.receivable_id = r.receivable_id AND a.source = 'REMITTANCE')
), unmatched AS (
  SELECT 'UNMATCHED_MONEY' AS reason, m.remittance_id::text AS key, '' AS claim_id, 0::bigint AS sequence,
    m.remittance_id::text AS remittance_id, '' AS message_id, d.name AS payer_name, '' AS motorist_name,
    sum(l.paid - l.allocated)::bigint AS amount, m.currency_code, '' AS due_date, d.telephone, d.hours,
    'payment ' || m.reference || ' of ' || to_char(m.paid_date, 'YYYY-MM-DD') AS words
  FROM remittance_lines l JOIN remittances m ON m.shop_id = l.shop_id AND m.remittance_id = l.remittance_id
  JOIN desk d ON d.payer_id = m.payer_id
  WHERE l.shop_id = $1 AND l.allocated <> l.paid
  GROUP BY m.remittance_id, m.reference, m.paid_date, m.currency_code, d.name, d.telephone, d.hours
), lost AS (
  SELECT 'UNKNOWN_ANSWER' AS reason, m.message_id::text AS key, '' AS claim_id, 0::bigint AS sequence, '' AS remittance_id,
    m.message_id::text AS message_id, d.name AS payer_name, '' AS motorist_name, 0::bigint AS amount, '' AS currency_code,
    '' AS due_date, d.telephone, d.hours, m.sentence AS words
  FROM messages m JOIN desk d ON d.payer_id = m.payer_id
  WHERE m.shop_id = $1 AND m.state IN ('UNKNOWN_CLAIM', 'REFUSED')
), deaf AS (
  SELECT 'ENDPOINT_DISABLED' AS reason, n.endpoint_id::text AS key, '' AS claim_id, 0::bigint AS sequence, '' AS remittance_id,
    '' AS message_id, '' AS payer_name, '' AS motorist_name, 0::bigint AS amount, '' AS currency_code, '' AS due_date,
    '' AS telephone, '' AS hours, split_part(split_part(n.url, '/', 3), '?', 1) || ', which was disabled: ' || n.reason AS words
  FROM endpoints n WHERE n.shop_id = $1 AND n.disable_cause IN ('GONE', 'FAILING')
), task AS (
  SELECT * FROM from_claims UNION ALL SELECT * FROM overdue UNION ALL SELECT * FROM short
  UNION ALL SELECT * FROM unmatched UNION ALL SELECT * FROM lost
  UNION ALL SELECT * FROM deaf
)`

// sortKey orders tasks by what it costs to wait: what runs out first, then what is at stake.
const sortKey = `(CASE WHEN due_date = '' THEN '9999-12-31' ELSE due_date END || lpad((100000000000000000 - amount)::text, 19, '0') || key)`

const selectTasks = tasks + `
SELECT reason, key, claim_id, sequence, remittance_id, message_id, payer_name, motorist_name, amount, currency_code, due_date,
  telephone, hours, words, ` + sortKey + ` AS place
FROM task WHERE ($3 = '' OR reason = $3) AND ` + sortKey + ` > $4 ORDER BY place LIMIT $5`

type taskRow struct {
	Reason       claims.TaskReason `db:"reason"`
	Key          string            `db:"key"`
	Claim        ident.Claim       `db:"claim_id"`
	Sequence     int64             `db:"sequence"`
	Remittance   ident.Remittance  `db:"remittance_id"`
	Message      ident.Message     `db:"message_id"`
	PayerName    string            `db:"payer_name"`
	MotoristName string            `db:"motorist_name"`
	Amount       int64             `db:"amount"`
	Currency     string            `db:"currency_code"`
	DueDate      string            `db:"due_date"`
	Telephone    string            `db:"telephone"`
	Hours        string            `db:"hours"`
	Words        string            `db:"words"`
	Place        string            `db:"place"`
}

// PlacedTask is a task with its place in the list, from which a next page goes on.
type PlacedTask struct {
	claims.Task
	Place string
}

// Tasks lists what needs a person, what costs most to wait first, from the place on; reason empty
// is any.
func Tasks(ctx context.Context, tx *pg.Tx, now time.Time, reason, after string, limit int) ([]PlacedTask, error) {
	var rows []taskRow
	if err := tx.Select(ctx, &rows, selectTasks, string(tx.Shop()), now, reason, after, limit); err != nil {
		return nil, fmt.Errorf("list tasks: %w", err)
	}
	all := make([]PlacedTask, len(rows))
	for i, r := range rows {
		t := claims.Task{Reason: r.Reason, Key: r.Key, Claim: r.Claim, Remittance: r.Remittance, Message: r.Message,
			PayerName: r.PayerName, MotoristName: r.MotoristName, Amount: money.From(r.Amount, r.Currency), DueDate: r.DueDate,
			Telephone: r.Telephone, Hours: r.Hours, Words: r.Words}
		if r.Sequence > 0 {
			t.ClaimNumber = Number(r.Sequence)
		}
		all[i] = PlacedTask{Task: t, Place: r.Place}
	}
	return all, nil
}

const groupTasks = tasks + `
SELECT reason, count(*)::int AS task_count, coalesce(sum(amount), 0)::bigint AS minor_units FROM task GROUP BY reason`

// TaskGroups counts and sums the tasks of each reason that has any.
func TaskGroups(ctx context.Context, tx *pg.Tx, now time.Time) ([]claims.TaskGroup, error) {
	var all []claims.TaskGroup
	if err := tx.Select(ctx, &all, groupTasks, string(tx.Shop()), now); err != nil {
		return nil, fmt.Errorf("count tasks: %w", err)
	}
	return all, nil
}
