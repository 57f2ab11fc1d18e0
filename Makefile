# Cullet: two commands to know, `make demo` and `make test`. `make help` lists the others.
# Only Go and make are needed; `make install` brings what some tests need beyond that.

GO ?= go
BIN := bin
# Extra arguments: make test TESTFLAGS='-run Claim ./services/claims/...'; make bench BENCH=Intake
TESTFLAGS ?= ./...
BENCH ?= .
BENCHFLAGS ?= -benchtime=1x
PICTURES ?= .pictures

# One set of flags for everything, so that nothing is compiled twice. Without cgo the program also
# runs where no C library is. Stamping the commit fails in a folder of another user; then it is left out.
export CGO_ENABLED := 0
VCS := $(shell git status --porcelain -uno >/dev/null 2>&1 && echo auto || echo false)
export GOFLAGS := $(strip $(GOFLAGS) -trimpath -buildvcs=$(VCS))
RELEASE := -ldflags '-s -w'

.PHONY: help
help: ## List the targets
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/  make \1|\2/p' Makefile | \
		while IFS='|' read -r name what; do printf '%-20s %s\n' "$$name" "$$what"; done

.PHONY: demo
demo: demo-build ## Build, load an invented shop, run three nights, show a clerk's evening; Ctrl-C stops
	@$(BIN)/cullet demo

.PHONY: demo-once
demo-once: demo-build ## The same in a throw-away place; checks its own books and ends with 0 or 1
	@$(BIN)/cullet demo --once

.PHONY: demo-reset
demo-reset: demo-build ## Forget what the demo keeps
	@$(BIN)/cullet demo --reset

# The tag opens the demo's loopback receivers; a release binary refuses them.
.PHONY: demo-build
demo-build:
	@sh .ci/postgres
	$(GO) build -tags demo $(RELEASE) -o $(BIN)/ ./cmd/cullet ./cmd/payersim

.PHONY: build
build: ## Build the release binaries into bin/release
	$(GO) build $(RELEASE) -o $(BIN)/release/ ./cmd/...

.PHONY: test
test: ## Run every test; lists what did not run and what would bring it (STRICT=1 refuses that)
	@sh .ci/postgres
	@$(GO) -C .tools run ./testreport -dir .. $(if $(STRICT),-strict) -- \
		-count=1 -timeout=8m $(TESTFLAGS)

.PHONY: bench
bench: ## Measure: each figure is a ratio to a limit measured in the same run
	$(GO) test -run '^$$' -bench '$(BENCH)' $(BENCHFLAGS) -count=1 -timeout=30m ./adapters/... ./services/...

.PHONY: soak
soak: ## What takes too long for make test: a million operations on the books, ten million splits, a hundred thousand bills against another program
	@sh .ci/postgres
	$(GO) test -count=1 -timeout=2h -v -run '^TestManySplits$$' ./services/money -args -splits=10000000
	$(GO) test -count=1 -timeout=2h -v -run '^TestManyOperations$$' ./services/invoices/booktest -args -operations=1000000
	$(GO) test -count=1 -timeout=2h -v -run '^TestLawsHoldInPostgreSQL$$' ./services/pipeline -args -sequences=250
	$(GO) test -count=1 -timeout=2h -v -run '^TestAnotherWriterWritesTheSame$$' ./adapters/format/ubl -args -documents=200
	CULLET_TAX_ORACLE=100000 $(GO) test -count=1 -timeout=2h -v -run '^TestQuoteAgreesWithTheOracle$$' ./services/tax

.PHONY: generate
generate: ## Write all generated code anew
	@sh .ci/generate

.PHONY: lint
lint: ## Format, vet, staticcheck, and the contract's lint: the gate without tests and builds
	@bash .ci/run cheap

.PHONY: install
install: ## Bring what the tests need beyond Go: Debian packages as root, node packages by npm
	@sh .ci/install

.PHONY: screenshots
screenshots: ## Draw the pictures of README.md into .pictures; needs chromium and npm
	@sh .ci/install
	$(GO) test -count=1 -run '^TestTheDemo$$/played' ./cmd/cullet -args -screenshots='$(CURDIR)/$(PICTURES)'

.PHONY: clean
clean: ## Remove what was built; the demo's and the server's data stay
	rm -rf $(BIN) .cache
