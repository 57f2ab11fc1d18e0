// Package services is the house. It holds no code: this file is its map and the tests beside it
// keep the map true. It refuses, through them, an arrow that points the wrong way
// (arrows_test.go) and untidy rooms (tidy_test.go).
//
// # Rooms
//
// The root package of a room is its domain and imports neither SQL nor gRPC. Beside it <room>pg
// keeps it in PostgreSQL and <room>rpc serves it. Who has opened one room can guess the next.
//
//	level 0  money finding errs ident       small nouns that all share
//	level 1  vin                            the vehicle's number
//	         repairability                  repair standards as dated facts, the assessment
//	         pricing                        price agreements make lines
//	         tax                            what a jurisdiction takes, every cent explained
//	         access                         shops, keys, roles, audit
//	level 2  customers                      motorists and fleet accounts
//	         payers                         what each payer demands, pays, and how it is reached
//	         webhooks                       endpoints, events, deliveries
//	level 3  jobs                           completed repairs and their photos
//	level 4  claims                         the demand on one payer; Translator, Format, Channel
//	level 5  invoices                       documents, journal, payments, allocation, aging
//	         runs                           what leaves in a night and what comes back
//
//	pipeline                                the life of a claim: open release submit post notify
//	server                                  puts everything together: the composition root
//	client                                  the way in for cmd: typed, authenticated
//	internal                                plumbing: pg, outbox, once, seal, rpc
//
// # Owners
//
// Every table has one package that writes it; pg.Owners is the list and a test of package pg
// holds everybody to it.
//
//	outbox        work events audit_entries
//	once          requests
//	pg            number_series
//	accesspg      shops keys key_hashes
//	customerspg   customers
//	payerspg      payers payer_profiles payer_credentials inbound_routes
//	jobspg        jobs photos job_photos photo_usage column_mappings imports import_rows
//	claimspg      claims claim_contents overrulings
//	invoicespg    invoices invoice_lines receivables journal_entries journal_lines payments
//	              remittances remittance_lines allocations refunds disputes
//	              periods tax_returns
//	runspg        runs batches batch_documents messages answers
//	webhookspg    endpoints deliveries attempts webhook_shops
//
// # Arrows
//
//	a room of one level sees only rooms of lower levels
//	  ^                         ^-- adapters: domain packages, never SQL, gRPC or the contract
//	<room>pg                    its own domain, lower ones, internal/{pg,outbox,once,seal}
//	  ^-- pipeline              the only place that may hold two *pg at once
//	<room>rpc                   its own domain and pg, internal/rpc, the contract, pipeline
//	  ^
//	server        client
//	  ^             ^
//	cmd/cullet    cmd/cullet/internal/{command,desk}: gRPC clients, nothing else
//
// services never imports adapters or cmd: cmd/cullet hands the adapters to server.Run.
//
// # Step by step
//
// No service calls another. Each step hands a snapshot forward and may be repeated; the
// transactions named here are the only ones that span owners.
//
//	record   jobsrpc                jobs, photos, work; import_rows with them, for files
//	open     pipeline/open.go       translate, price, tax, check: claims
//	release  pipeline/release.go    claims, invoices, journal, events
//	submit   pipeline/submit.go     the document is stored, then sent, then its receipt is stored
//	answer   an Inbox               stored raw, nothing else
//	post     pipeline/post.go       messages, claims, invoices, journal, events
//	notify   pipeline/notify.go     events, deliveries: with each change, in its transaction
//	         pipeline/courier.go    deliveries, attempts, endpoints
package services
