# Everything a person types. Each target first makes the environment if it is not there.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test live lint types check fuzz torture soak bench pictures translations lock clean

demo: $(READY)
	$(BIN)/perpend demo --out out

live: $(READY)
	$(BIN)/perpend live --port "virtual:?trainee=T01&reps=0"

test: $(READY)
	QT_QPA_PLATFORM=offscreen $(BIN)/python -m pytest -n 2

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY)
	$(BIN)/mypy

check: lint types test

# A million damaged streams into the host's ears, heard two ways; about four minutes on two cores.
# -P: tests/ mirrors our folders.
fuzz: $(READY)
	$(BIN)/python -P tests/fuzz_wire.py

# Kills a real recorder a hundred times and opens and salvages what it leaves; about 2 minutes.
torture: $(READY)
	PERPEND_KILLS=100 $(BIN)/python -m pytest -n 2 tests/acquisition/recording/test_killed.py

# Eight hours of a faulty rig, faster than real time: every sample accounted for, memory flat.
soak: $(READY)
	$(BIN)/python -m tests.soak --hours 8

# How fast the host hears, against what C code alone takes; how fast an hour is analysed, against
# what the libraries alone take; how soon the window shows a push; how
# fast a thousand recordings are studied (they are made the first time: a few minutes).
bench: $(READY)
	$(BIN)/python -P tests/bench_wire.py
	$(BIN)/python -P tests/bench_analysis.py
	QT_QPA_PLATFORM=offscreen $(BIN)/python -P tests/bench_window.py
	$(BIN)/python -P tests/bench_study.py

# Every picture of the documentation, from the virtual rig with fixed seeds.
pictures: $(READY)
	$(BIN)/python -P recordings_demo/make.py --pictures

# What can be translated, for a language: edit the file with Qt's Linguist, then run this again.
TO ?= xx
translations: $(READY)
	$(BIN)/python -m ui.desktop.translations ui/desktop/perpend_$(TO).ts
	$(BIN)/pyside6-lrelease ui/desktop/perpend_$(TO).ts -qm ui/desktop/perpend_$(TO).qm

$(READY): requirements.lock pyproject.toml .ci/setup
	PYTHON="$(PYTHON)" VENV="$(VENV)" .ci/setup
	@touch $@

# Pins again from pyproject.toml, for every Python and system, with hashes and no address.
lock:
	uv pip compile --universal --generate-hashes --no-header --python-version 3.11 \
	    --all-extras --quiet --upgrade pyproject.toml -o requirements.lock

clean:
	rm -rf $(VENV) out build *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis
