-- The schema as all migrations together leave it, for reading; nothing is made from this file.
-- Written by: go test ./services/internal/pg -run TestSchemaFile -update

TABLE allocations -- Where every cent went; never edited.
    shop_id uuid NOT NULL
    allocation_id uuid NOT NULL
    receivable_id uuid NOT NULL
    source text NOT NULL
    remittance_id uuid
    line_number integer
    payment_id uuid
    credit_invoice_id uuid
    entry_id uuid NOT NULL
    entry_date date NOT NULL
    currency_code text NOT NULL
    amount bigint NOT NULL
    reason text NOT NULL
    create_time timestamp with time zone NOT NULL
    created_by text NOT NULL
    reverses_allocation_id uuid
    CONSTRAINT allocations_pkey PRIMARY KEY (shop_id, allocation_id)
    CONSTRAINT allocations_amount_check CHECK (((amount <> 0) AND ((amount >= '-100000000000000000'::bigint) AND (amount <= '100000000000000000'::bigint))))
    CONSTRAINT allocations_below_zero CHECK (((amount > 0) OR (source = ANY (ARRAY['REMITTANCE'::text, 'TRANSFER'::text])) OR (reverses_allocation_id IS NOT NULL)))
    CONSTRAINT allocations_check CHECK (((source = 'REMITTANCE'::text) = ((remittance_id IS NOT NULL) AND (line_number IS NOT NULL))))
    CONSTRAINT allocations_check1 CHECK (((source = 'PAYMENT'::text) = (payment_id IS NOT NULL)))
    CONSTRAINT allocations_check2 CHECK (((source = 'CREDIT_NOTE'::text) = (credit_invoice_id IS NOT NULL)))
    CONSTRAINT allocations_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT allocations_reason_check CHECK ((char_length(reason) <= 500))
    CONSTRAINT allocations_source_check CHECK ((source = ANY (ARRAY['REMITTANCE'::text, 'PAYMENT'::text, 'WRITE_OFF'::text, 'CREDIT_NOTE'::text, 'TRANSFER'::text])))
    CONSTRAINT allocations_shop_id_credit_invoice_id_fkey FOREIGN KEY (shop_id, credit_invoice_id) REFERENCES invoices(shop_id, invoice_id)
    CONSTRAINT allocations_shop_id_entry_id_fkey FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries(shop_id, entry_id)
    CONSTRAINT allocations_shop_id_payment_id_fkey FOREIGN KEY (shop_id, payment_id) REFERENCES payments(shop_id, payment_id)
    CONSTRAINT allocations_shop_id_receivable_id_fkey FOREIGN KEY (shop_id, receivable_id) REFERENCES receivables(shop_id, receivable_id)
    CONSTRAINT allocations_shop_id_remittance_id_line_number_fkey FOREIGN KEY (shop_id, remittance_id, line_number) REFERENCES remittance_lines(shop_id, remittance_id, line_number)
    CONSTRAINT allocations_shop_id_reverses_allocation_id_fkey FOREIGN KEY (shop_id, reverses_allocation_id) REFERENCES allocations(shop_id, allocation_id)
    CREATE INDEX allocations_receivable ON public.allocations USING btree (shop_id, receivable_id) INCLUDE (amount, entry_date)
    CREATE INDEX allocations_remittance ON public.allocations USING btree (shop_id, remittance_id, line_number) WHERE (remittance_id IS NOT NULL)
    CREATE UNIQUE INDEX allocations_undone_once ON public.allocations USING btree (shop_id, reverses_allocation_id) WHERE ((reverses_allocation_id IS NOT NULL) AND (source <> 'PAYMENT'::text))
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.allocations FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.allocations FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE answers -- Answers that had their effect.
    shop_id uuid NOT NULL
    payer_id uuid NOT NULL
    external_id text NOT NULL
    message_id uuid NOT NULL
    claim_id uuid NOT NULL
    batch_id uuid NOT NULL
    state text NOT NULL
    occur_time timestamp with time zone NOT NULL
    apply_time timestamp with time zone NOT NULL
    payer_reference text NOT NULL DEFAULT ''::text
    reason text NOT NULL DEFAULT ''::text
    CONSTRAINT answers_pkey PRIMARY KEY (shop_id, payer_id, external_id, claim_id)
    CONSTRAINT answers_external_id_check CHECK (((char_length(external_id) >= 1) AND (char_length(external_id) <= 200)))
    CONSTRAINT answers_payer_reference_check CHECK ((char_length(payer_reference) <= 200))
    CONSTRAINT answers_reason_check CHECK ((char_length(reason) <= 4000))
    CONSTRAINT answers_state_check CHECK ((state = ANY (ARRAY['ACKNOWLEDGED'::text, 'ACCEPTED'::text, 'REJECTED'::text, 'INFORMATION_REQUESTED'::text, 'DENIED'::text])))
    CONSTRAINT answers_shop_id_batch_id_fkey FOREIGN KEY (shop_id, batch_id) REFERENCES batches(shop_id, batch_id)
    CONSTRAINT answers_shop_id_claim_id_fkey FOREIGN KEY (shop_id, claim_id) REFERENCES claims(shop_id, claim_id)
    CONSTRAINT answers_shop_id_message_id_fkey FOREIGN KEY (shop_id, message_id) REFERENCES messages(shop_id, message_id)
    CREATE INDEX answers_claim ON public.answers USING btree (shop_id, claim_id, batch_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.answers FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.answers FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE attempts -- Every attempt of every delivery, with the first of what was answered.
    shop_id uuid NOT NULL
    delivery_id uuid NOT NULL
    attempt_number integer NOT NULL
    attempt_time timestamp with time zone NOT NULL
    status integer NOT NULL
    latency_ms integer NOT NULL
    answer text NOT NULL
    endpoint_id uuid NOT NULL
    sentence text NOT NULL DEFAULT ''::text
    CONSTRAINT attempts_pkey PRIMARY KEY (shop_id, delivery_id, attempt_number)
    CONSTRAINT attempts_answer_check CHECK ((char_length(answer) <= 4096))
    CONSTRAINT attempts_attempt_number_check CHECK ((attempt_number >= 1))
    CONSTRAINT attempts_latency_ms_check CHECK ((latency_ms >= 0))
    CONSTRAINT attempts_sentence_check CHECK ((char_length(sentence) <= 1000))
    CONSTRAINT attempts_shop_id_delivery_id_fkey FOREIGN KEY (shop_id, delivery_id) REFERENCES deliveries(shop_id, delivery_id)
    CREATE INDEX attempts_of_endpoint ON public.attempts USING btree (shop_id, endpoint_id, attempt_time, delivery_id, attempt_number)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.attempts FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.attempts FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE audit_entries -- Who did what; append-only.
    shop_id uuid NOT NULL
    audit_id uuid NOT NULL
    occurred_time timestamp with time zone NOT NULL
    actor text NOT NULL
    action text NOT NULL
    subject_kind text NOT NULL
    subject_id uuid NOT NULL
    detail jsonb NOT NULL
    CONSTRAINT audit_entries_pkey PRIMARY KEY (shop_id, audit_id)
    CONSTRAINT audit_entries_action_check CHECK ((action ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)+$'::text))
    CONSTRAINT audit_entries_actor_check CHECK (((char_length(actor) >= 1) AND (char_length(actor) <= 200)))
    CONSTRAINT audit_entries_detail_check CHECK ((jsonb_typeof(detail) = 'object'::text))
    CONSTRAINT audit_entries_subject_kind_check CHECK ((subject_kind ~ '^[a-z][a-z_]*$'::text))
    CREATE INDEX audit_entries_subject ON public.audit_entries USING btree (shop_id, subject_kind, subject_id, occurred_time)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.audit_entries FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.audit_entries FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE batch_documents -- The very bytes that are sent, and sent again.
    shop_id uuid NOT NULL
    batch_id uuid NOT NULL
    content bytea NOT NULL
    encoding text NOT NULL DEFAULT 'identity'::text
    CONSTRAINT batch_documents_pkey PRIMARY KEY (shop_id, batch_id)
    CONSTRAINT batch_documents_encoding_check CHECK ((encoding = ANY (ARRAY['identity'::text, 'zstd'::text])))
    CONSTRAINT batch_documents_shop_id_batch_id_fkey FOREIGN KEY (shop_id, batch_id) REFERENCES batches(shop_id, batch_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.batch_documents FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.batch_documents FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE batches -- One document for one payer under one control number.
    shop_id uuid NOT NULL
    batch_id uuid NOT NULL
    run_id uuid NOT NULL
    payer_id uuid NOT NULL
    control_number bigint NOT NULL
    state text NOT NULL
    claim_ids uuid[] NOT NULL
    claim_count integer NOT NULL
    currency_code text NOT NULL
    total bigint NOT NULL
    format text NOT NULL
    channel text NOT NULL
    file_name text NOT NULL
    media_type text NOT NULL
    document_hash bytea NOT NULL
    size_bytes bigint NOT NULL
    build_time timestamp with time zone NOT NULL
    attempt_count integer NOT NULL DEFAULT 0
    next_attempt_time timestamp with time zone
    last_answer text NOT NULL DEFAULT ''::text
    receipt_reference text NOT NULL DEFAULT ''::text
    send_time timestamp with time zone
    CONSTRAINT batches_pkey PRIMARY KEY (shop_id, batch_id)
    CONSTRAINT batches_control_number UNIQUE (shop_id, payer_id, control_number)
    CONSTRAINT batches_check CHECK (((state = 'SENT'::text) = (send_time IS NOT NULL)))
    CONSTRAINT batches_check1 CHECK ((claim_count = cardinality(claim_ids)))
    CONSTRAINT batches_claim_count_check CHECK ((claim_count >= 1))
    CONSTRAINT batches_claim_ids_check CHECK ((cardinality(claim_ids) >= 1))
    CONSTRAINT batches_control_number_check CHECK ((control_number >= 1))
    CONSTRAINT batches_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT batches_document_hash_check CHECK ((octet_length(document_hash) = 32))
    CONSTRAINT batches_last_answer_check CHECK ((char_length(last_answer) <= 2000))
    CONSTRAINT batches_receipt_reference_check CHECK ((char_length(receipt_reference) <= 200))
    CONSTRAINT batches_size_bytes_check CHECK ((size_bytes > 0))
    CONSTRAINT batches_state_check CHECK ((state = ANY (ARRAY['BUILT'::text, 'SENT'::text, 'FAILED'::text])))
    CONSTRAINT batches_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CONSTRAINT batches_shop_id_run_id_fkey FOREIGN KEY (shop_id, run_id) REFERENCES runs(shop_id, run_id)
    CREATE INDEX batches_open ON public.batches USING btree (shop_id, payer_id, batch_id) WHERE (state = 'BUILT'::text)
    CREATE INDEX batches_run ON public.batches USING btree (shop_id, run_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (state, attempt_count, next_attempt_time, last_answer, receipt_reference, send_time)

TABLE claim_contents -- Claims: what is long and changes seldom.
    shop_id uuid NOT NULL
    claim_id uuid NOT NULL
    coverage jsonb NOT NULL
    findings jsonb NOT NULL
    lines jsonb NOT NULL
    payload bytea
    payload_hash bytea
    CONSTRAINT claim_contents_pkey PRIMARY KEY (shop_id, claim_id)
    CONSTRAINT claim_contents_check CHECK (((payload IS NULL) = (payload_hash IS NULL)))
    CONSTRAINT claim_contents_coverage_check CHECK ((jsonb_typeof(coverage) = 'object'::text))
    CONSTRAINT claim_contents_findings_check CHECK ((jsonb_typeof(findings) = 'array'::text))
    CONSTRAINT claim_contents_lines_check CHECK ((jsonb_typeof(lines) = 'array'::text))
    CONSTRAINT claim_contents_payload_hash_check CHECK ((octet_length(payload_hash) = 32))
    CONSTRAINT claim_contents_shop_id_claim_id_fkey FOREIGN KEY (shop_id, claim_id) REFERENCES claims(shop_id, claim_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE

TABLE claims -- Claims: what changes often.
    shop_id uuid NOT NULL
    claim_id uuid NOT NULL
    sequence bigint NOT NULL
    job_id uuid NOT NULL
    job_version integer NOT NULL
    payer_id uuid NOT NULL
    profile_version integer NOT NULL
    state text NOT NULL
    version integer NOT NULL
    stop_count smallint NOT NULL
    currency_code text NOT NULL
    net bigint NOT NULL
    tax bigint NOT NULL
    total bigint NOT NULL
    payer_share bigint NOT NULL
    motorist_share bigint NOT NULL
    filing_deadline date
    hold_reason text NOT NULL DEFAULT ''::text
    hold_until date
    held_by text NOT NULL DEFAULT ''::text
    invoice_id uuid
    batch_id uuid
    create_time timestamp with time zone NOT NULL
    update_time timestamp with time zone NOT NULL
    submit_time timestamp with time zone
    answer_due timestamp with time zone
    answer_time timestamp with time zone
    payer_reference text NOT NULL DEFAULT ''::text
    payer_reason text NOT NULL DEFAULT ''::text
    vin text NOT NULL
    repair_date date NOT NULL
    motorist_name text NOT NULL
    policy_number text NOT NULL
    authorization_number text NOT NULL
    supplement_of uuid
    CONSTRAINT claims_pkey PRIMARY KEY (shop_id, claim_id)
    CONSTRAINT claims_sequence UNIQUE (shop_id, sequence)
    CONSTRAINT claims_check CHECK (((net + tax) = total))
    CONSTRAINT claims_check1 CHECK (((payer_share + motorist_share) = total))
    CONSTRAINT claims_check2 CHECK (((state = 'DRAFT'::text) OR (stop_count = 0) OR (state = 'WITHDRAWN'::text)))
    CONSTRAINT claims_check3 CHECK (((state <> ALL (ARRAY['RELEASED'::text, 'SUBMITTED'::text, 'ACKNOWLEDGED'::text, 'ACCEPTED'::text])) OR (invoice_id IS NOT NULL)))
    CONSTRAINT claims_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT claims_hold_reason_check CHECK ((char_length(hold_reason) <= 500))
    CONSTRAINT claims_motorist_share_check CHECK (((motorist_share >= 0) AND (motorist_share <= '100000000000000000'::bigint)))
    CONSTRAINT claims_net_check CHECK (((net >= '-100000000000000000'::bigint) AND (net <= '100000000000000000'::bigint)))
    CONSTRAINT claims_payer_reason_check CHECK ((char_length(payer_reason) <= 4000))
    CONSTRAINT claims_payer_reference_check CHECK ((char_length(payer_reference) <= 200))
    CONSTRAINT claims_payer_share_check CHECK (((payer_share >= 0) AND (payer_share <= '100000000000000000'::bigint)))
    CONSTRAINT claims_sequence_check CHECK ((sequence >= 1))
    CONSTRAINT claims_state_check CHECK ((state = ANY (ARRAY['DRAFT'::text, 'READY'::text, 'RELEASED'::text, 'SUBMITTED'::text, 'ACKNOWLEDGED'::text, 'ACCEPTED'::text, 'REJECTED'::text, 'INFORMATION_REQUESTED'::text, 'DENIED'::text, 'WITHDRAWN'::text])))
    CONSTRAINT claims_stop_count_check CHECK ((stop_count >= 0))
    CONSTRAINT claims_tax_check CHECK (((tax >= '-100000000000000000'::bigint) AND (tax <= '100000000000000000'::bigint)))
    CONSTRAINT claims_total_check CHECK (((total >= '-100000000000000000'::bigint) AND (total <= '100000000000000000'::bigint)))
    CONSTRAINT claims_version_check CHECK ((version >= 1))
    CONSTRAINT claims_shop_id_job_id_job_version_fkey FOREIGN KEY (shop_id, job_id, job_version) REFERENCES jobs(shop_id, job_id, version)
    CONSTRAINT claims_shop_id_payer_id_profile_version_fkey FOREIGN KEY (shop_id, payer_id, profile_version) REFERENCES payer_profiles(shop_id, payer_id, version)
    CONSTRAINT claims_shop_id_supplement_of_fkey FOREIGN KEY (shop_id, supplement_of) REFERENCES claims(shop_id, claim_id)
    CREATE INDEX claims_answer_due ON public.claims USING btree (shop_id, answer_due) WHERE (state = ANY (ARRAY['SUBMITTED'::text, 'ACKNOWLEDGED'::text]))
    CREATE INDEX claims_authorization ON public.claims USING btree (shop_id, payer_id, authorization_number) WHERE (authorization_number <> ''::text)
    CREATE INDEX claims_batch ON public.claims USING btree (shop_id, batch_id) WHERE (batch_id IS NOT NULL)
    CREATE INDEX claims_invoice ON public.claims USING btree (shop_id, invoice_id) WHERE (invoice_id IS NOT NULL)
    CREATE UNIQUE INDEX claims_live ON public.claims USING btree (shop_id, job_id, payer_id) WHERE ((state <> 'WITHDRAWN'::text) AND (supplement_of IS NULL))
    CREATE INDEX claims_ready ON public.claims USING btree (shop_id, payer_id, claim_id) WHERE (state = 'READY'::text)
    CREATE INDEX claims_released ON public.claims USING btree (shop_id, payer_id, claim_id) WHERE ((state = 'RELEASED'::text) AND (batch_id IS NULL))
    CREATE INDEX claims_to_do ON public.claims USING btree (shop_id, state, claim_id) WHERE (state = ANY (ARRAY['DRAFT'::text, 'READY'::text, 'REJECTED'::text, 'INFORMATION_REQUESTED'::text, 'DENIED'::text]))
    CREATE INDEX claims_vin ON public.claims USING btree (shop_id, vin)
    CREATE INDEX claims_vin_tail ON public.claims USING btree (shop_id, "right"(vin, 6))
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE

TABLE column_mappings -- How the files of a shop system are read; overwritten, each change audited.
    shop_id uuid NOT NULL
    mapping_id uuid NOT NULL
    name text NOT NULL
    version integer NOT NULL
    content jsonb NOT NULL
    update_time timestamp with time zone NOT NULL
    updated_by text NOT NULL
    CONSTRAINT column_mappings_pkey PRIMARY KEY (shop_id, mapping_id)
    CONSTRAINT column_mappings_name UNIQUE (shop_id, name)
    CONSTRAINT column_mappings_content_check CHECK ((jsonb_typeof(content) = 'object'::text))
    CONSTRAINT column_mappings_name_check CHECK (((name ~ '^[a-z0-9]+(-[a-z0-9]+)*$'::text) AND (char_length(name) <= 60)))
    CONSTRAINT column_mappings_version_check CHECK ((version >= 1))
    CONSTRAINT column_mappings_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (version, content, update_time, updated_by)

TABLE customers
    shop_id uuid NOT NULL
    customer_id uuid NOT NULL
    name text NOT NULL
    detail jsonb NOT NULL
    create_time timestamp with time zone NOT NULL
    CONSTRAINT customers_pkey PRIMARY KEY (shop_id, customer_id)
    CONSTRAINT customers_detail_check CHECK ((jsonb_typeof(detail) = 'object'::text))
    CONSTRAINT customers_name_check CHECK (((char_length(name) >= 1) AND (char_length(name) <= 200)))
    CONSTRAINT customers_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE deliveries -- Events on their way to endpoints; every one ends delivered or dead with a reason.
    shop_id uuid NOT NULL
    delivery_id uuid NOT NULL
    event_id uuid NOT NULL
    endpoint_id uuid NOT NULL
    state text NOT NULL
    attempt_count integer NOT NULL DEFAULT 0
    last_status integer NOT NULL DEFAULT 0
    last_error text NOT NULL DEFAULT ''::text
    next_attempt_time timestamp with time zone
    round_start integer NOT NULL DEFAULT 0
    leased_until timestamp with time zone
    CONSTRAINT deliveries_pkey PRIMARY KEY (shop_id, delivery_id)
    CONSTRAINT deliveries_once UNIQUE (shop_id, event_id, endpoint_id)
    CONSTRAINT deliveries_attempt_count_check CHECK ((attempt_count >= 0))
    CONSTRAINT deliveries_check CHECK (((state = 'PENDING'::text) = (next_attempt_time IS NOT NULL)))
    CONSTRAINT deliveries_check1 CHECK (((round_start >= 0) AND (round_start <= attempt_count)))
    CONSTRAINT deliveries_dead_say_why CHECK (((state <> 'DEAD'::text) OR (last_error <> ''::text)))
    CONSTRAINT deliveries_last_error_check CHECK ((char_length(last_error) <= 4500))
    CONSTRAINT deliveries_state_check CHECK ((state = ANY (ARRAY['PENDING'::text, 'DELIVERED'::text, 'DEAD'::text])))
    CONSTRAINT deliveries_shop_id_endpoint_id_fkey FOREIGN KEY (shop_id, endpoint_id) REFERENCES endpoints(shop_id, endpoint_id)
    CONSTRAINT deliveries_shop_id_event_id_fkey FOREIGN KEY (shop_id, event_id) REFERENCES events(shop_id, event_id)
    CREATE INDEX deliveries_dead ON public.deliveries USING btree (shop_id, endpoint_id, event_id) WHERE (state = 'DEAD'::text)
    CREATE INDEX deliveries_due ON public.deliveries USING btree (shop_id, endpoint_id, next_attempt_time, event_id) WHERE (state = 'PENDING'::text)
    CREATE INDEX deliveries_of_endpoint ON public.deliveries USING btree (shop_id, endpoint_id, event_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (state, attempt_count, last_status, last_error, next_attempt_time, round_start, leased_until)

TABLE disputes -- What a debtor contests, and what came of it.
    shop_id uuid NOT NULL
    dispute_id uuid NOT NULL
    receivable_id uuid NOT NULL
    amount bigint NOT NULL
    reason text NOT NULL
    open_time timestamp with time zone NOT NULL
    opened_by text NOT NULL
    close_time timestamp with time zone
    closed_by text NOT NULL DEFAULT ''::text
    outcome text NOT NULL DEFAULT ''::text
    CONSTRAINT disputes_pkey PRIMARY KEY (shop_id, dispute_id)
    CONSTRAINT disputes_amount_check CHECK (((amount >= 1) AND (amount <= '100000000000000000'::bigint)))
    CONSTRAINT disputes_check CHECK (((close_time IS NULL) = (outcome = ''::text)))
    CONSTRAINT disputes_outcome_check CHECK ((char_length(outcome) <= 500))
    CONSTRAINT disputes_reason_check CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 500)))
    CONSTRAINT disputes_shop_id_receivable_id_fkey FOREIGN KEY (shop_id, receivable_id) REFERENCES receivables(shop_id, receivable_id)
    CREATE UNIQUE INDEX disputes_open ON public.disputes USING btree (shop_id, receivable_id) WHERE (close_time IS NULL)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (close_time, closed_by, outcome)

TABLE endpoints
    shop_id uuid NOT NULL
    endpoint_id uuid NOT NULL
    url text NOT NULL
    event_types text[] NOT NULL DEFAULT '{}'::text[]
    state text NOT NULL
    reason text NOT NULL DEFAULT ''::text
    sealed_secret bytea NOT NULL
    failing_since timestamp with time zone
    create_time timestamp with time zone NOT NULL
    hears_since timestamp with time zone NOT NULL
    version integer NOT NULL DEFAULT 1
    previous_secret bytea
    previous_until timestamp with time zone
    disable_cause text NOT NULL DEFAULT ''::text
    disable_time timestamp with time zone
    CONSTRAINT endpoints_pkey PRIMARY KEY (shop_id, endpoint_id)
    CONSTRAINT endpoints_disable_cause_check CHECK ((disable_cause = ANY (ARRAY[''::text, 'GONE'::text, 'FAILING'::text, 'PERSON'::text])))
    CONSTRAINT endpoints_disabled CHECK ((((state = 'DISABLED'::text) = (disable_cause <> ''::text)) AND ((state = 'DISABLED'::text) = (disable_time IS NOT NULL))))
    CONSTRAINT endpoints_previous CHECK (((previous_secret IS NULL) = (previous_until IS NULL)))
    CONSTRAINT endpoints_reason_check CHECK ((char_length(reason) <= 500))
    CONSTRAINT endpoints_state_check CHECK ((state = ANY (ARRAY['ACTIVE'::text, 'PAUSED'::text, 'DISABLED'::text])))
    CONSTRAINT endpoints_url_check CHECK (((char_length(url) >= 8) AND (char_length(url) <= 2000)))
    CONSTRAINT endpoints_version_check CHECK ((version >= 1))
    CONSTRAINT endpoints_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (url, event_types, state, reason, sealed_secret, failing_since, hears_since, version, previous_secret, previous_until, disable_cause, disable_time)

TABLE events -- What happened to a subject, in the order of its versions; append-only.
    shop_id uuid NOT NULL
    event_id uuid NOT NULL
    type text NOT NULL
    subject_kind text NOT NULL
    subject_id uuid NOT NULL
    subject_version integer NOT NULL
    occurred_time timestamp with time zone NOT NULL
    actor text NOT NULL
    data jsonb NOT NULL
    CONSTRAINT events_pkey PRIMARY KEY (shop_id, event_id)
    CONSTRAINT events_subject_version UNIQUE (shop_id, subject_kind, subject_id, subject_version)
    CONSTRAINT events_actor_check CHECK (((char_length(actor) >= 1) AND (char_length(actor) <= 200)))
    CONSTRAINT events_data_check CHECK ((jsonb_typeof(data) = 'object'::text))
    CONSTRAINT events_subject_kind_check CHECK ((subject_kind ~ '^[a-z][a-z_]*$'::text))
    CONSTRAINT events_subject_version_check CHECK ((subject_version >= 1))
    CONSTRAINT events_type_check CHECK ((type ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)+$'::text))
    CREATE INDEX events_time ON public.events USING brin (occurred_time)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.events FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.events FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE import_rows -- What became of each record of a file.
    shop_id uuid NOT NULL
    import_id uuid NOT NULL
    record_number integer NOT NULL
    line_number integer NOT NULL
    row_numbers jsonb NOT NULL
    external_reference text NOT NULL
    outcome text NOT NULL
    job_id uuid
    faults jsonb NOT NULL
    CONSTRAINT import_rows_pkey PRIMARY KEY (shop_id, import_id, record_number)
    CONSTRAINT import_rows_check CHECK (((outcome <> 'RECORDED'::text) OR (job_id IS NOT NULL)))
    CONSTRAINT import_rows_external_reference_check CHECK ((char_length(external_reference) <= 100))
    CONSTRAINT import_rows_faults_check CHECK ((jsonb_typeof(faults) = 'array'::text))
    CONSTRAINT import_rows_line_number_check CHECK ((line_number >= 1))
    CONSTRAINT import_rows_outcome_check CHECK ((outcome = ANY (ARRAY['RECORDED'::text, 'KNOWN'::text, 'CONFLICT'::text, 'REFUSED'::text, 'ACCEPTABLE'::text])))
    CONSTRAINT import_rows_record_number_check CHECK ((record_number >= 1))
    CONSTRAINT import_rows_row_numbers_check CHECK ((jsonb_typeof(row_numbers) = 'array'::text))
    CONSTRAINT import_rows_shop_id_import_id_fkey FOREIGN KEY (shop_id, import_id) REFERENCES imports(shop_id, import_id)
    CREATE INDEX import_rows_reference ON public.import_rows USING btree (shop_id, import_id, external_reference)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.import_rows FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.import_rows FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE imports -- Files of shop systems and how far each is.
    shop_id uuid NOT NULL
    import_id uuid NOT NULL
    state text NOT NULL
    is_preview boolean NOT NULL
    file_name text NOT NULL
    file_hash bytea NOT NULL
    content bytea
    mapping jsonb NOT NULL
    unused_columns text[] NOT NULL
    record_count integer NOT NULL
    done_count integer NOT NULL DEFAULT 0
    recorded_count integer NOT NULL DEFAULT 0
    known_count integer NOT NULL DEFAULT 0
    conflict_count integer NOT NULL DEFAULT 0
    refused_count integer NOT NULL DEFAULT 0
    create_time timestamp with time zone NOT NULL
    created_by text NOT NULL
    finish_time timestamp with time zone
    failure text NOT NULL DEFAULT ''::text
    CONSTRAINT imports_pkey PRIMARY KEY (shop_id, import_id)
    CONSTRAINT imports_check CHECK (((done_count >= 0) AND (done_count <= record_count)))
    CONSTRAINT imports_check1 CHECK (((((recorded_count + known_count) + conflict_count) + refused_count) = done_count))
    CONSTRAINT imports_check2 CHECK (((state = 'DONE'::text) = (done_count = record_count)))
    CONSTRAINT imports_check3 CHECK (((state = ANY (ARRAY['DONE'::text, 'FAILED'::text])) = (finish_time IS NOT NULL)))
    CONSTRAINT imports_check4 CHECK (((state = 'FAILED'::text) = (failure <> ''::text)))
    CONSTRAINT imports_content_check CHECK (((octet_length(content) >= 1) AND (octet_length(content) <= 4194304)))
    CONSTRAINT imports_content_needed CHECK (((content IS NOT NULL) OR (finish_time IS NOT NULL)))
    CONSTRAINT imports_failure_check CHECK ((char_length(failure) <= 1000))
    CONSTRAINT imports_file_hash_check CHECK ((octet_length(file_hash) = 32))
    CONSTRAINT imports_file_name_check CHECK ((char_length(file_name) <= 200))
    CONSTRAINT imports_mapping_check CHECK ((jsonb_typeof(mapping) = 'object'::text))
    CONSTRAINT imports_record_count_check CHECK ((record_count >= 1))
    CONSTRAINT imports_state_check CHECK ((state = ANY (ARRAY['RECEIVED'::text, 'RUNNING'::text, 'DONE'::text, 'FAILED'::text])))
    CONSTRAINT imports_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (state, content, done_count, recorded_count, known_count, conflict_count, refused_count, finish_time, failure)

TABLE inbound_routes -- Which payer a webhook path belongs to; no personal data.
    route text NOT NULL
    shop_id uuid NOT NULL
    payer_id uuid NOT NULL
    CONSTRAINT inbound_routes_pkey PRIMARY KEY (route)
    CONSTRAINT inbound_routes_route_check CHECK ((route ~ '^[A-Za-z0-9_-]{16,64}$'::text))
    CONSTRAINT inbound_routes_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    RUNTIME MAY INSERT, SELECT

TABLE invoice_lines -- Lines of documents; each knows its claim and its job.
    shop_id uuid NOT NULL
    invoice_id uuid NOT NULL
    line_number integer NOT NULL
    claim_id uuid
    job_id uuid NOT NULL
    kind text NOT NULL
    net bigint NOT NULL
    tax bigint NOT NULL
    content jsonb NOT NULL
    CONSTRAINT invoice_lines_pkey PRIMARY KEY (shop_id, invoice_id, line_number)
    CONSTRAINT invoice_lines_content_check CHECK ((jsonb_typeof(content) = 'object'::text))
    CONSTRAINT invoice_lines_line_number_check CHECK ((line_number >= 1))
    CONSTRAINT invoice_lines_net_check CHECK (((net >= '-100000000000000000'::bigint) AND (net <= '100000000000000000'::bigint)))
    CONSTRAINT invoice_lines_tax_check CHECK (((tax >= '-100000000000000000'::bigint) AND (tax <= '100000000000000000'::bigint)))
    CONSTRAINT invoice_lines_shop_id_claim_id_fkey FOREIGN KEY (shop_id, claim_id) REFERENCES claims(shop_id, claim_id)
    CONSTRAINT invoice_lines_shop_id_invoice_id_fkey FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices(shop_id, invoice_id)
    CREATE INDEX invoice_lines_claim ON public.invoice_lines USING btree (shop_id, claim_id) WHERE (claim_id IS NOT NULL)
    CREATE INDEX invoice_lines_job ON public.invoice_lines USING btree (shop_id, job_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.invoice_lines FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.invoice_lines FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE invoices -- Invoices and credit notes; never edited.
    shop_id uuid NOT NULL
    invoice_id uuid NOT NULL
    kind text NOT NULL
    series text NOT NULL
    sequence bigint NOT NULL
    number text NOT NULL
    credits_invoice_id uuid
    issue_date date NOT NULL
    due_date date NOT NULL
    issue_time timestamp with time zone NOT NULL
    payer_id uuid
    bill_to_name text NOT NULL
    purchase_order text NOT NULL DEFAULT ''::text
    currency_code text NOT NULL
    net bigint NOT NULL
    tax bigint NOT NULL
    total bigint NOT NULL
    parties jsonb NOT NULL
    CONSTRAINT invoices_pkey PRIMARY KEY (shop_id, invoice_id)
    CONSTRAINT invoices_number UNIQUE (shop_id, number)
    CONSTRAINT invoices_sequence UNIQUE (shop_id, series, sequence)
    CONSTRAINT invoices_check CHECK (((net + tax) = total))
    CONSTRAINT invoices_check1 CHECK (((kind = 'CREDIT_NOTE'::text) = (credits_invoice_id IS NOT NULL)))
    CONSTRAINT invoices_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT invoices_kind_check CHECK ((kind = ANY (ARRAY['INVOICE'::text, 'CREDIT_NOTE'::text])))
    CONSTRAINT invoices_net_check CHECK (((net >= 0) AND (net <= '100000000000000000'::bigint)))
    CONSTRAINT invoices_number_check CHECK (((char_length(number) >= 1) AND (char_length(number) <= 40)))
    CONSTRAINT invoices_parties_check CHECK ((jsonb_typeof(parties) = 'object'::text))
    CONSTRAINT invoices_sequence_check CHECK ((sequence >= 1))
    CONSTRAINT invoices_series_check CHECK (((char_length(series) >= 1) AND (char_length(series) <= 40)))
    CONSTRAINT invoices_tax_check CHECK (((tax >= 0) AND (tax <= '100000000000000000'::bigint)))
    CONSTRAINT invoices_total_check CHECK (((total >= 0) AND (total <= '100000000000000000'::bigint)))
    CONSTRAINT invoices_shop_id_credits_invoice_id_fkey FOREIGN KEY (shop_id, credits_invoice_id) REFERENCES invoices(shop_id, invoice_id)
    CONSTRAINT invoices_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CONSTRAINT invoices_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CREATE INDEX invoices_credits ON public.invoices USING btree (shop_id, credits_invoice_id) WHERE (credits_invoice_id IS NOT NULL)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.invoices FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.invoices FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER follow AFTER INSERT ON public.invoices REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION cullet_invoices_follow()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE job_photos -- Which photos a record names.
    shop_id uuid NOT NULL
    job_id uuid NOT NULL
    version integer NOT NULL
    photo_number smallint NOT NULL
    photo_hash bytea NOT NULL
    kind text NOT NULL
    damage_number smallint NOT NULL
    CONSTRAINT job_photos_pkey PRIMARY KEY (shop_id, job_id, version, photo_number)
    CONSTRAINT job_photos_damage_number_check CHECK ((damage_number >= 0))
    CONSTRAINT job_photos_kind_check CHECK ((kind = ANY (ARRAY['BEFORE'::text, 'AFTER'::text, 'VIN_PLATE'::text, 'WHOLE_GLASS'::text])))
    CONSTRAINT job_photos_photo_number_check CHECK ((photo_number >= 1))
    CONSTRAINT job_photos_shop_id_job_id_version_fkey FOREIGN KEY (shop_id, job_id, version) REFERENCES jobs(shop_id, job_id, version)
    CONSTRAINT job_photos_uploaded FOREIGN KEY (shop_id, photo_hash) REFERENCES photos(shop_id, photo_hash)
    CREATE INDEX job_photos_photo ON public.job_photos USING btree (shop_id, photo_hash)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.job_photos FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.job_photos FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE jobs -- Repair records, a row per version; only is_current ever changes.
    shop_id uuid NOT NULL
    job_id uuid NOT NULL
    version integer NOT NULL
    is_current boolean NOT NULL
    external_reference text NOT NULL
    vin text NOT NULL
    plate text NOT NULL
    repair_date date NOT NULL
    payer_code text NOT NULL
    record jsonb NOT NULL
    fingerprint bytea NOT NULL
    assessments jsonb NOT NULL
    findings jsonb NOT NULL
    record_time timestamp with time zone NOT NULL
    recorded_by text NOT NULL
    amend_reason text NOT NULL DEFAULT ''::text
    CONSTRAINT jobs_pkey PRIMARY KEY (shop_id, job_id, version)
    CONSTRAINT jobs_check CHECK (((version = 1) = (amend_reason = ''::text)))
    CONSTRAINT jobs_external_reference_check CHECK (((char_length(external_reference) >= 1) AND (char_length(external_reference) <= 100)))
    CONSTRAINT jobs_fingerprint_check CHECK ((octet_length(fingerprint) = 32))
    CONSTRAINT jobs_record_check CHECK ((jsonb_typeof(record) = 'object'::text))
    CONSTRAINT jobs_version_check CHECK ((version >= 1))
    CONSTRAINT jobs_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE UNIQUE INDEX jobs_current ON public.jobs USING btree (shop_id, job_id) WHERE is_current
    CREATE UNIQUE INDEX jobs_external_reference ON public.jobs USING btree (shop_id, external_reference) WHERE (version = 1)
    CREATE INDEX jobs_vin ON public.jobs USING btree (shop_id, vin) WHERE is_current
    CREATE INDEX jobs_vin_tail ON public.jobs USING btree (shop_id, "right"(vin, 6)) WHERE is_current
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (is_current)

TABLE journal_entries -- The journal; never edited, turned back by another entry.
    shop_id uuid NOT NULL
    entry_id uuid NOT NULL
    entry_date date NOT NULL
    document_kind text NOT NULL
    document_id uuid NOT NULL
    memo text NOT NULL
    reverses_entry_id uuid
    post_time timestamp with time zone NOT NULL
    CONSTRAINT journal_entries_pkey PRIMARY KEY (shop_id, entry_id)
    CONSTRAINT journal_entries_document_kind_check CHECK ((document_kind = ANY (ARRAY['invoice'::text, 'credit_note'::text, 'remittance'::text, 'allocation'::text, 'payment'::text, 'write_off'::text, 'reversal'::text, 'transfer'::text, 'refund'::text, 'return'::text])))
    CONSTRAINT journal_entries_memo_check CHECK ((char_length(memo) <= 500))
    CONSTRAINT journal_entries_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CONSTRAINT journal_entries_shop_id_reverses_entry_id_fkey FOREIGN KEY (shop_id, reverses_entry_id) REFERENCES journal_entries(shop_id, entry_id)
    CREATE INDEX journal_entries_document ON public.journal_entries USING btree (shop_id, document_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.journal_entries FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.journal_entries FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER period AFTER INSERT ON public.journal_entries REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION cullet_journal_period()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE journal_lines -- Postings; those of an entry sum to zero in each currency.
    shop_id uuid NOT NULL
    entry_id uuid NOT NULL
    line_number smallint NOT NULL
    account text NOT NULL
    jurisdiction_code text NOT NULL DEFAULT ''::text
    payer_id uuid
    currency_code text NOT NULL
    amount bigint NOT NULL
    CONSTRAINT journal_lines_pkey PRIMARY KEY (shop_id, entry_id, line_number)
    CONSTRAINT journal_lines_account_check CHECK ((account ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)?$'::text))
    CONSTRAINT journal_lines_amount_check CHECK (((amount <> 0) AND ((amount >= '-100000000000000000'::bigint) AND (amount <= '100000000000000000'::bigint))))
    CONSTRAINT journal_lines_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT journal_lines_line_number_check CHECK ((line_number >= 1))
    CONSTRAINT journal_lines_shop_id_entry_id_fkey FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries(shop_id, entry_id)
    CREATE INDEX journal_lines_account ON public.journal_lines USING btree (shop_id, account) INCLUDE (amount, currency_code, entry_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.journal_lines FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.journal_lines FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER balances AFTER INSERT ON public.journal_lines REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION cullet_journal_balances()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE key_hashes -- Which key a secret is, by SHA-256; no personal data.
    key_hash bytea NOT NULL
    shop_id uuid NOT NULL
    key_id uuid NOT NULL
    CONSTRAINT key_hashes_pkey PRIMARY KEY (key_hash)
    CONSTRAINT key_hashes_key_hash_check CHECK ((octet_length(key_hash) = 32))
    CONSTRAINT key_hashes_shop_id_key_id_fkey FOREIGN KEY (shop_id, key_id) REFERENCES keys(shop_id, key_id)
    RUNTIME MAY INSERT, SELECT

TABLE keys -- Keys without their secrets.
    shop_id uuid NOT NULL
    key_id uuid NOT NULL
    name text NOT NULL
    role text NOT NULL
    prefix text NOT NULL
    create_time timestamp with time zone NOT NULL
    expire_time timestamp with time zone
    revoke_time timestamp with time zone
    CONSTRAINT keys_pkey PRIMARY KEY (shop_id, key_id)
    CONSTRAINT keys_name_check CHECK (((char_length(name) >= 1) AND (char_length(name) <= 200)))
    CONSTRAINT keys_prefix_check CHECK (((char_length(prefix) >= 4) AND (char_length(prefix) <= 20)))
    CONSTRAINT keys_role_check CHECK ((role = ANY (ARRAY['OWNER'::text, 'CLERK'::text, 'SYSTEM'::text, 'READER'::text])))
    CONSTRAINT keys_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (revoke_time)

TABLE messages -- The inbox: what payers sent, raw, kept at least 90 days.
    shop_id uuid NOT NULL
    message_id uuid NOT NULL
    payer_id uuid NOT NULL
    external_id text NOT NULL
    via text NOT NULL
    state text NOT NULL
    headers jsonb NOT NULL DEFAULT '{}'::jsonb
    body bytea NOT NULL
    receive_time timestamp with time zone NOT NULL
    sentence text NOT NULL DEFAULT ''::text
    CONSTRAINT messages_pkey PRIMARY KEY (shop_id, message_id)
    CONSTRAINT messages_external_id UNIQUE (shop_id, payer_id, via, external_id)
    CONSTRAINT messages_external_id_check CHECK (((char_length(external_id) >= 1) AND (char_length(external_id) <= 200)))
    CONSTRAINT messages_sentence_check CHECK ((char_length(sentence) <= 2000))
    CONSTRAINT messages_state_check CHECK ((state = ANY (ARRAY['RECEIVED'::text, 'POSTED'::text, 'UNKNOWN_CLAIM'::text, 'REFUSED'::text])))
    CONSTRAINT messages_via_check CHECK (((char_length(via) >= 1) AND (char_length(via) <= 40)))
    CONSTRAINT messages_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CREATE INDEX messages_to_do ON public.messages USING btree (shop_id, message_id) WHERE (state = ANY (ARRAY['RECEIVED'::text, 'UNKNOWN_CLAIM'::text]))
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (state, sentence)

TABLE number_series -- The next number of each series; only ever rises.
    shop_id uuid NOT NULL
    series text NOT NULL
    next_number bigint NOT NULL
    CONSTRAINT number_series_pkey PRIMARY KEY (shop_id, series)
    CONSTRAINT number_series_next_number_check CHECK (((next_number >= 1) AND (next_number <= '999999999999'::bigint)))
    CONSTRAINT number_series_series_check CHECK (((char_length(series) >= 1) AND (char_length(series) <= 100)))
    CREATE TRIGGER rises BEFORE UPDATE ON public.number_series FOR EACH ROW WHEN ((new.next_number <= old.next_number)) EXECUTE FUNCTION cullet_series_rises()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (next_number)

TABLE overrulings -- Findings that a person took the responsibility for, with the reason.
    shop_id uuid NOT NULL
    claim_id uuid NOT NULL
    code text NOT NULL
    path text NOT NULL
    reason text NOT NULL
    overruled_by text NOT NULL
    overrule_time timestamp with time zone NOT NULL
    CONSTRAINT overrulings_pkey PRIMARY KEY (shop_id, claim_id, code, path)
    CONSTRAINT overrulings_code_check CHECK (((char_length(code) >= 1) AND (char_length(code) <= 60)))
    CONSTRAINT overrulings_overruled_by_check CHECK (((char_length(overruled_by) >= 1) AND (char_length(overruled_by) <= 200)))
    CONSTRAINT overrulings_path_check CHECK (((char_length(path) >= 1) AND (char_length(path) <= 200)))
    CONSTRAINT overrulings_reason_check CHECK (((char_length(reason) >= 3) AND (char_length(reason) <= 2000)))
    CONSTRAINT overrulings_shop_id_claim_id_fkey FOREIGN KEY (shop_id, claim_id) REFERENCES claims(shop_id, claim_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.overrulings FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.overrulings FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE payer_credentials -- Credentials, sealed with a key that is not in the database.
    shop_id uuid NOT NULL
    payer_id uuid NOT NULL
    sealed bytea NOT NULL
    store_time timestamp with time zone NOT NULL
    CONSTRAINT payer_credentials_pkey PRIMARY KEY (shop_id, payer_id)
    CONSTRAINT payer_credentials_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (sealed, store_time)

TABLE payer_profiles -- Every version of every profile; a claim remembers which one checked it.
    shop_id uuid NOT NULL
    payer_id uuid NOT NULL
    version integer NOT NULL
    profile jsonb NOT NULL
    create_time timestamp with time zone NOT NULL
    created_by text NOT NULL
    CONSTRAINT payer_profiles_pkey PRIMARY KEY (shop_id, payer_id, version)
    CONSTRAINT payer_profiles_profile_check CHECK ((jsonb_typeof(profile) = 'object'::text))
    CONSTRAINT payer_profiles_version_check CHECK ((version >= 1))
    CONSTRAINT payer_profiles_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.payer_profiles FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.payer_profiles FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE payers
    shop_id uuid NOT NULL
    payer_id uuid NOT NULL
    code text NOT NULL
    name text NOT NULL
    kind text NOT NULL
    profile_version integer NOT NULL
    version integer NOT NULL DEFAULT 1
    inbound_route text NOT NULL
    create_time timestamp with time zone NOT NULL
    CONSTRAINT payers_pkey PRIMARY KEY (shop_id, payer_id)
    CONSTRAINT payers_code UNIQUE (shop_id, code)
    CONSTRAINT payers_code_check CHECK ((code ~ '^[a-z0-9][a-z0-9-]{0,59}$'::text))
    CONSTRAINT payers_inbound_route_check CHECK ((inbound_route ~ '^[A-Za-z0-9_-]{16,64}$'::text))
    CONSTRAINT payers_kind_check CHECK ((kind = ANY (ARRAY['INSURER'::text, 'FLEET'::text, 'GOVERNMENT'::text, 'MOTORIST'::text])))
    CONSTRAINT payers_name_check CHECK (((char_length(name) >= 1) AND (char_length(name) <= 200)))
    CONSTRAINT payers_profile_version_check CHECK ((profile_version >= 1))
    CONSTRAINT payers_version_check CHECK ((version >= 1))
    CONSTRAINT payers_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE UNIQUE INDEX payers_motorist ON public.payers USING btree (shop_id) WHERE (kind = 'MOTORIST'::text)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (name, profile_version, version)

TABLE payments
    shop_id uuid NOT NULL
    payment_id uuid NOT NULL
    invoice_id uuid NOT NULL
    method text NOT NULL
    currency_code text NOT NULL
    amount bigint NOT NULL
    reference text NOT NULL DEFAULT ''::text
    receive_date date NOT NULL
    record_time timestamp with time zone NOT NULL
    recorded_by text NOT NULL
    fee bigint NOT NULL DEFAULT 0
    CONSTRAINT payments_pkey PRIMARY KEY (shop_id, payment_id)
    CONSTRAINT payments_amount_check CHECK (((amount >= 1) AND (amount <= '100000000000000000'::bigint)))
    CONSTRAINT payments_check CHECK (((fee >= 0) AND (fee <= amount)))
    CONSTRAINT payments_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT payments_method_check CHECK ((method = ANY (ARRAY['CASH'::text, 'CARD'::text, 'CHECK'::text, 'TRANSFER'::text])))
    CONSTRAINT payments_reference_check CHECK ((char_length(reference) <= 100))
    CONSTRAINT payments_shop_id_invoice_id_fkey FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices(shop_id, invoice_id)
    CREATE INDEX payments_invoice ON public.payments USING btree (shop_id, invoice_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.payments FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.payments FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE periods -- Months that are closed; all before the last of them are closed too.
    shop_id uuid NOT NULL
    period text NOT NULL
    close_time timestamp with time zone NOT NULL
    closed_by text NOT NULL
    CONSTRAINT periods_pkey PRIMARY KEY (shop_id, period)
    CONSTRAINT periods_period_check CHECK ((period ~ '^\d{4}-(0[1-9]|1[0-2])$'::text))
    CONSTRAINT periods_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.periods FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.periods FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE photo_usage -- How many bytes of photos a shop has uploaded; made of them when a shop has no row yet.
    shop_id uuid NOT NULL
    used_bytes bigint NOT NULL
    CONSTRAINT photo_usage_pkey PRIMARY KEY (shop_id)
    CONSTRAINT photo_usage_used_bytes_check CHECK ((used_bytes >= 0))
    CONSTRAINT photo_usage_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (used_bytes)

TABLE photos -- Uploaded photos; one that no job names for 24 hours is forgotten.
    shop_id uuid NOT NULL
    photo_hash bytea NOT NULL
    media_type text NOT NULL
    size_bytes bigint NOT NULL
    width_pixels integer NOT NULL
    height_pixels integer NOT NULL
    take_time timestamp with time zone
    latitude_microdegrees integer
    longitude_microdegrees integer
    likeness bigint NOT NULL
    stage_time timestamp with time zone NOT NULL
    sharpness integer
    brightness smallint
    blown_percent smallint
    is_counted boolean NOT NULL DEFAULT true
    band_1 smallint NOT NULL GENERATED ALWAYS AS ((((likeness >> 0) & (8191)::bigint))::smallint)
    band_2 smallint NOT NULL GENERATED ALWAYS AS ((((likeness >> 13) & (8191)::bigint))::smallint)
    band_3 smallint NOT NULL GENERATED ALWAYS AS ((((likeness >> 26) & (8191)::bigint))::smallint)
    band_4 smallint NOT NULL GENERATED ALWAYS AS ((((likeness >> 39) & (8191)::bigint))::smallint)
    band_5 smallint NOT NULL GENERATED ALWAYS AS ((((likeness >> 52) & (4095)::bigint))::smallint)
    sealed_position bytea
    CONSTRAINT photos_pkey PRIMARY KEY (shop_id, photo_hash)
    CONSTRAINT photos_blown_percent_check CHECK (((blown_percent >= 0) AND (blown_percent <= 100)))
    CONSTRAINT photos_brightness_check CHECK (((brightness >= 0) AND (brightness <= 255)))
    CONSTRAINT photos_height_pixels_check CHECK ((height_pixels > 0))
    CONSTRAINT photos_measured CHECK ((num_nulls(sharpness, brightness, blown_percent) = ANY (ARRAY[0, 3])))
    CONSTRAINT photos_media_type_check CHECK ((media_type = ANY (ARRAY['image/jpeg'::text, 'image/png'::text, 'image/webp'::text])))
    CONSTRAINT photos_photo_hash_check CHECK ((octet_length(photo_hash) = 32))
    CONSTRAINT photos_position_once CHECK ((num_nonnulls(sealed_position, latitude_microdegrees) <= 1))
    CONSTRAINT photos_sealed_position_check CHECK (((octet_length(sealed_position) >= 1) AND (octet_length(sealed_position) <= 200)))
    CONSTRAINT photos_sharpness_check CHECK ((sharpness >= 0))
    CONSTRAINT photos_size_bytes_check CHECK ((size_bytes > 0))
    CONSTRAINT photos_width_pixels_check CHECK ((width_pixels > 0))
    CONSTRAINT photos_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE INDEX photos_band_1 ON public.photos USING btree (shop_id, band_1)
    CREATE INDEX photos_band_2 ON public.photos USING btree (shop_id, band_2)
    CREATE INDEX photos_band_3 ON public.photos USING btree (shop_id, band_3)
    CREATE INDEX photos_band_4 ON public.photos USING btree (shop_id, band_4)
    CREATE INDEX photos_band_5 ON public.photos USING btree (shop_id, band_5)
    CREATE INDEX photos_staged ON public.photos USING btree (shop_id, stage_time)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY DELETE, INSERT, SELECT, UPDATE (stage_time, is_counted)

TABLE receivables -- What each debtor owes of an invoice; only open_amount and transferred_amount ever change.
    shop_id uuid NOT NULL
    receivable_id uuid NOT NULL
    invoice_id uuid NOT NULL
    debtor_kind text NOT NULL
    debtor_name text NOT NULL
    payer_id uuid
    currency_code text NOT NULL
    amount bigint NOT NULL
    open_amount bigint NOT NULL
    issue_date date NOT NULL
    due_date date NOT NULL
    transferred_amount bigint NOT NULL DEFAULT 0
    CONSTRAINT receivables_pkey PRIMARY KEY (shop_id, receivable_id)
    CONSTRAINT receivables_debtor UNIQUE (shop_id, invoice_id, debtor_kind)
    CONSTRAINT receivables_amount_check CHECK (((amount >= 0) AND (amount <= '100000000000000000'::bigint)))
    CONSTRAINT receivables_check1 CHECK (((debtor_kind = 'PAYER'::text) = (payer_id IS NOT NULL)))
    CONSTRAINT receivables_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT receivables_debtor_kind_check CHECK ((debtor_kind = ANY (ARRAY['PAYER'::text, 'MOTORIST'::text])))
    CONSTRAINT receivables_open CHECK ((open_amount <= (amount + transferred_amount)))
    CONSTRAINT receivables_open_amount_check CHECK ((open_amount >= 0))
    CONSTRAINT receivables_shop_id_invoice_id_fkey FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices(shop_id, invoice_id)
    CONSTRAINT receivables_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CREATE INDEX receivables_open ON public.receivables USING btree (shop_id, payer_id, due_date) INCLUDE (debtor_kind, debtor_name, open_amount, currency_code, invoice_id) WHERE (open_amount > 0)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (open_amount, transferred_amount)

TABLE refunds -- Money that went back; never edited.
    shop_id uuid NOT NULL
    refund_id uuid NOT NULL
    payment_id uuid
    remittance_id uuid
    line_number integer
    is_returned boolean NOT NULL
    currency_code text NOT NULL
    amount bigint NOT NULL
    reference text NOT NULL DEFAULT ''::text
    reason text NOT NULL
    entry_id uuid NOT NULL
    refund_date date NOT NULL
    create_time timestamp with time zone NOT NULL
    created_by text NOT NULL
    CONSTRAINT refunds_pkey PRIMARY KEY (shop_id, refund_id)
    CONSTRAINT refunds_amount_check CHECK (((amount >= 1) AND (amount <= '100000000000000000'::bigint)))
    CONSTRAINT refunds_check CHECK (((payment_id IS NULL) = ((remittance_id IS NOT NULL) AND (line_number IS NOT NULL))))
    CONSTRAINT refunds_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT refunds_reason_check CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 500)))
    CONSTRAINT refunds_reference_check CHECK ((char_length(reference) <= 100))
    CONSTRAINT refunds_shop_id_entry_id_fkey FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries(shop_id, entry_id)
    CONSTRAINT refunds_shop_id_payment_id_fkey FOREIGN KEY (shop_id, payment_id) REFERENCES payments(shop_id, payment_id)
    CONSTRAINT refunds_shop_id_remittance_id_line_number_fkey FOREIGN KEY (shop_id, remittance_id, line_number) REFERENCES remittance_lines(shop_id, remittance_id, line_number)
    CREATE INDEX refunds_payment ON public.refunds USING btree (shop_id, payment_id) WHERE (payment_id IS NOT NULL)
    CREATE INDEX refunds_remittance ON public.refunds USING btree (shop_id, remittance_id, line_number) WHERE (remittance_id IS NOT NULL)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.refunds FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.refunds FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE remittance_lines -- Lines of deposits; what is not allocated is unmatched money.
    shop_id uuid NOT NULL
    remittance_id uuid NOT NULL
    line_number integer NOT NULL
    invoice_number text NOT NULL
    claim_number text NOT NULL
    paid bigint NOT NULL
    allocated bigint NOT NULL
    reason_code text NOT NULL
    reason_text text NOT NULL
    sentence text NOT NULL
    CONSTRAINT remittance_lines_pkey PRIMARY KEY (shop_id, remittance_id, line_number)
    CONSTRAINT remittance_lines_allocated CHECK (((allocated >= LEAST(paid, (0)::bigint)) AND (allocated <= GREATEST(paid, (0)::bigint))))
    CONSTRAINT remittance_lines_line_number_check CHECK ((line_number >= 1))
    CONSTRAINT remittance_lines_paid_check CHECK (((paid >= '-100000000000000000'::bigint) AND (paid <= '100000000000000000'::bigint)))
    CONSTRAINT remittance_lines_shop_id_remittance_id_fkey FOREIGN KEY (shop_id, remittance_id) REFERENCES remittances(shop_id, remittance_id)
    CREATE INDEX remittance_lines_unmatched ON public.remittance_lines USING btree (shop_id, remittance_id) WHERE (allocated <> paid)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (allocated, sentence)

TABLE remittances -- Deposits as payers wrote them, with the very file.
    shop_id uuid NOT NULL
    remittance_id uuid NOT NULL
    payer_id uuid NOT NULL
    reference text NOT NULL
    paid_date date NOT NULL
    currency_code text NOT NULL
    amount bigint NOT NULL
    format text NOT NULL
    content bytea NOT NULL
    content_hash bytea NOT NULL
    post_time timestamp with time zone NOT NULL
    posted_by text NOT NULL
    CONSTRAINT remittances_pkey PRIMARY KEY (shop_id, remittance_id)
    CONSTRAINT remittances_reference UNIQUE (shop_id, payer_id, reference)
    CONSTRAINT remittances_amount_check CHECK (((amount >= 0) AND (amount <= '100000000000000000'::bigint)))
    CONSTRAINT remittances_content_hash_check CHECK ((octet_length(content_hash) = 32))
    CONSTRAINT remittances_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT remittances_reference_check CHECK (((char_length(reference) >= 1) AND (char_length(reference) <= 100)))
    CONSTRAINT remittances_shop_id_payer_id_fkey FOREIGN KEY (shop_id, payer_id) REFERENCES payers(shop_id, payer_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.remittances FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.remittances FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE requests -- Answers by request id, kept at least 90 days.
    shop_id uuid NOT NULL
    caller text NOT NULL
    method text NOT NULL
    request_id text NOT NULL
    fingerprint bytea NOT NULL
    answer bytea
    created_time timestamp with time zone NOT NULL DEFAULT now()
    CONSTRAINT requests_pkey PRIMARY KEY (shop_id, caller, method, request_id)
    CONSTRAINT requests_caller_check CHECK (((char_length(caller) >= 1) AND (char_length(caller) <= 200)))
    CONSTRAINT requests_fingerprint_check CHECK (((octet_length(fingerprint) >= 1) AND (octet_length(fingerprint) <= 64)))
    CONSTRAINT requests_method_check CHECK (((char_length(method) >= 1) AND (char_length(method) <= 200)))
    CONSTRAINT requests_request_id_check CHECK (((char_length(request_id) >= 1) AND (char_length(request_id) <= 128)))
    CREATE INDEX requests_created ON public.requests USING btree (shop_id, created_time)
    FORCE ROW LEVEL SECURITY
    POLICY kept_90_days AS RESTRICTIVE FOR DELETE USING (created_time < (now() - '90 days'::interval))
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY DELETE, INSERT, SELECT, UPDATE (answer)

TABLE runs -- Nightly runs; the fence grows with each runner that takes one over.
    shop_id uuid NOT NULL
    run_id uuid NOT NULL
    business_date date NOT NULL
    state text NOT NULL
    start_time timestamp with time zone NOT NULL
    finish_time timestamp with time zone
    fence bigint NOT NULL
    released_count integer NOT NULL DEFAULT 0
    sent_count integer NOT NULL DEFAULT 0
    sent_total bigint NOT NULL DEFAULT 0
    currency_code text NOT NULL
    held_reasons jsonb NOT NULL DEFAULT '[]'::jsonb
    CONSTRAINT runs_pkey PRIMARY KEY (shop_id, run_id)
    CONSTRAINT runs_check CHECK (((state = 'RUNNING'::text) = (finish_time IS NULL)))
    CONSTRAINT runs_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT runs_fence_check CHECK ((fence >= 1))
    CONSTRAINT runs_held_reasons_check CHECK ((jsonb_typeof(held_reasons) = 'array'::text))
    CONSTRAINT runs_state_check CHECK ((state = ANY (ARRAY['RUNNING'::text, 'FINISHED'::text, 'INCOMPLETE'::text])))
    CONSTRAINT runs_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE UNIQUE INDEX runs_one_running ON public.runs USING btree (shop_id) WHERE (state = 'RUNNING'::text)
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE

TABLE shops -- The repair businesses; settings is access.Shop.
    shop_id uuid NOT NULL
    settings jsonb NOT NULL
    version integer NOT NULL DEFAULT 1
    create_time timestamp with time zone NOT NULL DEFAULT now()
    CONSTRAINT shops_pkey PRIMARY KEY (shop_id)
    CONSTRAINT shops_settings_check CHECK ((jsonb_typeof(settings) = 'object'::text))
    CONSTRAINT shops_version_check CHECK ((version >= 1))
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT, UPDATE (settings, version)

TABLE tax_returns -- Tax returns as they were filed; never edited.
    shop_id uuid NOT NULL
    return_id uuid NOT NULL
    region text NOT NULL
    from_date date NOT NULL
    to_date date NOT NULL
    currency_code text NOT NULL
    tax bigint NOT NULL
    content jsonb NOT NULL
    file_time timestamp with time zone NOT NULL
    filed_by text NOT NULL
    CONSTRAINT tax_returns_pkey PRIMARY KEY (shop_id, return_id)
    CONSTRAINT tax_returns_from UNIQUE (shop_id, region, from_date)
    CONSTRAINT tax_returns_check CHECK ((from_date <= to_date))
    CONSTRAINT tax_returns_content_check CHECK ((jsonb_typeof(content) = 'object'::text))
    CONSTRAINT tax_returns_currency_code_check CHECK ((currency_code ~ '^[A-Z]{3}$'::text))
    CONSTRAINT tax_returns_region_check CHECK ((region ~ '^[A-Z]{2}(-[A-Z0-9]{1,10})?$'::text))
    CONSTRAINT tax_returns_tax_check CHECK (((tax >= '-100000000000000000'::bigint) AND (tax <= '100000000000000000'::bigint)))
    CONSTRAINT tax_returns_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    CREATE TRIGGER append_only BEFORE DELETE OR UPDATE ON public.tax_returns FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()
    CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON public.tax_returns FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()
    FORCE ROW LEVEL SECURITY
    POLICY tenant FOR ALL USING (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid) WITH CHECK (shop_id = (NULLIF(current_setting('cullet.shop_id'::text, true), ''::text))::uuid)
    RUNTIME MAY INSERT, SELECT

TABLE webhook_shops -- Shops that have endpoints, for couriers, which serve all of them; no personal data.
    shop_id uuid NOT NULL
    CONSTRAINT webhook_shops_pkey PRIMARY KEY (shop_id)
    CONSTRAINT webhook_shops_shop_id_fkey FOREIGN KEY (shop_id) REFERENCES shops(shop_id)
    RUNTIME MAY INSERT, SELECT

TABLE work -- Things to be done, claimed with FOR UPDATE SKIP LOCKED; no personal data.
    work_id bigint NOT NULL GENERATED ALWAYS AS IDENTITY
    shop_id uuid NOT NULL
    topic text NOT NULL
    key text NOT NULL
    available_time timestamp with time zone NOT NULL DEFAULT now()
    attempts integer NOT NULL DEFAULT 0
    lease_number bigint NOT NULL DEFAULT 0
    generation integer NOT NULL DEFAULT 1
    lease_until timestamp with time zone
    last_error text
    created_time timestamp with time zone NOT NULL DEFAULT now()
    CONSTRAINT work_pkey PRIMARY KEY (work_id)
    CONSTRAINT work_once UNIQUE (shop_id, topic, key)
    CONSTRAINT work_attempts_check CHECK ((attempts >= 0))
    CONSTRAINT work_generation_check CHECK ((generation >= 1))
    CONSTRAINT work_key_check CHECK (((char_length(key) >= 1) AND (char_length(key) <= 200)))
    CONSTRAINT work_last_error_check CHECK ((char_length(last_error) <= 200))
    CONSTRAINT work_lease_number_check CHECK ((lease_number >= 0))
    CONSTRAINT work_topic_check CHECK ((topic ~ '^[a-z][a-z_]*\.[a-z][a-z_]*$'::text))
    CREATE INDEX work_due ON public.work USING btree (topic, available_time, work_id)
    CREATE INDEX work_failing ON public.work USING btree (topic, attempts) WHERE (last_error IS NOT NULL)
    RUNTIME MAY DELETE, INSERT, SELECT, UPDATE

ROUTINES

PROCEDURE cullet_append_only(IN name regclass)
BEGIN
    EXECUTE format('CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON %s
                    FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()', name);
    EXECUTE format('CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON %s
                    FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()', name);
    EXECUTE format('REVOKE UPDATE, DELETE, TRUNCATE ON %s FROM PUBLIC, cullet_runtime', name);
END

FUNCTION cullet_invoices_follow()
DECLARE
    lonely text;
BEGIN
    SELECT n.number INTO lonely FROM inserted n
    WHERE n.sequence > 1 AND NOT EXISTS (
        SELECT FROM invoices p
        WHERE p.shop_id = n.shop_id AND p.series = n.series AND p.sequence = n.sequence - 1
          AND p.issue_date <= n.issue_date)
    LIMIT 1;
    IF lonely IS NOT NULL THEN
        RAISE EXCEPTION 'document % does not follow the one before it in number and date', lonely
            USING ERRCODE = 'check_violation', CONSTRAINT = 'invoices_follow', TABLE = 'invoices';
    END IF;
    RETURN NULL;
END

FUNCTION cullet_journal_balances()
DECLARE
    bad uuid;
BEGIN
    SELECT i.entry_id INTO bad FROM inserted i
    GROUP BY i.shop_id, i.entry_id, i.currency_code HAVING sum(i.amount) <> 0 LIMIT 1;
    IF bad IS NOT NULL THEN
        RAISE EXCEPTION 'journal entry % does not balance', bad
            USING ERRCODE = 'check_violation', CONSTRAINT = 'journal_balances', TABLE = 'journal_lines';
    END IF;
    SELECT i.entry_id INTO bad FROM (SELECT shop_id, entry_id, count(*) AS added FROM inserted GROUP BY 1, 2) i
    WHERE i.added <> (SELECT count(*) FROM journal_lines l WHERE l.shop_id = i.shop_id AND l.entry_id = i.entry_id)
    LIMIT 1;
    IF bad IS NOT NULL THEN
        RAISE EXCEPTION 'journal entry % was posted before', bad
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'journal_closed_entry', TABLE = 'journal_lines';
    END IF;
    RETURN NULL;
END

FUNCTION cullet_journal_period()
DECLARE
    late text;
BEGIN
    PERFORM pg_advisory_xact_lock_shared(hashtextextended('cullet.books.' || s.shop_id, 0))
    FROM (SELECT DISTINCT shop_id FROM inserted) s;
    SELECT to_char(i.entry_date, 'YYYY-MM') INTO late FROM inserted i
    WHERE EXISTS (SELECT FROM periods p WHERE p.shop_id = i.shop_id AND p.period >= to_char(i.entry_date, 'YYYY-MM'))
    LIMIT 1;
    IF late IS NOT NULL THEN
        RAISE EXCEPTION 'month % is closed', late
            USING ERRCODE = 'check_violation', CONSTRAINT = 'journal_period_closed', TABLE = 'journal_entries';
    END IF;
    RETURN NULL;
END

FUNCTION cullet_refuse_change()
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'append_only', TABLE = TG_TABLE_NAME;
END

FUNCTION cullet_series_rises()
BEGIN
    RAISE EXCEPTION 'series % may not go back from % to %', OLD.series, OLD.next_number, NEW.next_number
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'number_series_rises', TABLE = 'number_series';
END

PROCEDURE cullet_tenant_table(IN name regclass, IN grants text)
DECLARE
    mine CONSTANT text := $q$shop_id = NULLIF(current_setting('cullet.shop_id', true), '')::uuid$q$;
BEGIN
    IF NOT EXISTS (SELECT FROM pg_attribute
                   WHERE attrelid = name AND attname = 'shop_id' AND attnotnull
                     AND atttypid = 'uuid'::regtype AND NOT attisdropped) THEN
        RAISE EXCEPTION 'table % has no column "shop_id uuid NOT NULL"', name;
    END IF;
    IF grants ~* '\m(ALL|TRUNCATE|REFERENCES|TRIGGER)\M' THEN
        RAISE EXCEPTION 'the runtime role may not be granted "%" on %', grants, name;
    END IF;
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', name);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', name);
    EXECUTE format('CREATE POLICY tenant ON %s USING (%s) WITH CHECK (%s)', name, mine, mine);
    EXECUTE format('REVOKE ALL ON %s FROM PUBLIC, cullet_runtime', name);
    EXECUTE format('GRANT %s ON %s TO cullet_runtime', grants, name);
END
