# `make demo` and `make test` need Python 3.11 or newer and the package registries; they make the rest.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
PYTEST := $(BIN)/python -m pytest

.PHONY: demo test lint types soak bench format clean

demo: $(VENV)/.demo
	$(BIN)/coincide demo

$(VENV)/.demo: pyproject.toml
	@echo "Making $(VENV) and fetching the libraries: a minute or two, the first time only."
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade pip
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

$(STAMP): $(VENV)/.demo
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	touch $@

# The language tests run on MicroPython's own VM (an npm package); without npm they are skipped and say so.
tests/firmware/vm/node_modules/.installed: tests/firmware/vm/package.json
	-cd tests/firmware/vm && npm install --silent --no-audit --no-fund && touch node_modules/.installed

test: $(STAMP) tests/firmware/vm/node_modules/.installed
	$(PYTEST) -n auto -m "not soak and not benchmark"

soak: $(STAMP) tests/firmware/vm/node_modules/.installed
	-$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[fuzz]'
	$(PYTEST) -n auto --timeout 0 -m "soak"

bench: $(STAMP)
	$(PYTEST) --timeout 0 -m "benchmark" -s

lint: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports

# The firmware is checked as the board sees it: its own root, MicroPython's modules for the chip and MicroPython's
# standard library in place of CPython's. The stubs must lie apart, or the host would be checked against them too.
.types/micropython/.installed: $(STAMP)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --target .types/micropython --upgrade \
		'micropython-rp2-stubs>=1.24'
	touch $@

FIRMWARE_TYPES := --config-file .ci/firmware-types.ini --custom-typeshed-dir .types/micropython

# mypy finds the mapped packages through links: pyproject.toml maps them for pip, mypy knows no mapping.
types: $(STAMP) .types/micropython/.installed
	mkdir -p .types
	ln -sfn ../firmware .types/coincide_firmware
	ln -sfn ../wiring .types/coincide_wiring
	$(BIN)/mypy -p coincide -p coincide_wiring
	$(BIN)/mypy tests
	MYPYPATH=firmware:.types/micropython $(BIN)/mypy $(FIRMWARE_TYPES) -p app -p board -m boot -m main

format: $(STAMP)
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

clean:
	rm -rf $(VENV) .types build dist tests/firmware/vm/node_modules coincide-demo*
