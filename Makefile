# Needs Python 3.11 or newer, git and make. Everything else goes into .venv.
PYTHON ?= python3
BIN := .venv/bin
STAMP := .venv/ready

.PHONY: demo test prove notebooks docs lab lock clean

demo: $(STAMP)
	$(BIN)/pumplife study data/demo --out out/demo
	$(BIN)/python notebooks/run.py --out out/notebooks
	@echo "Open out/demo/report.html; the workbook is out/demo/study.xlsx, the notebooks are in out/notebooks."

# The test workers fill the cores: threads of linear algebra would only wait for each other.
# Work is stolen, so that tests that share a study mostly run in the same worker.
test: export OMP_NUM_THREADS := 1
test: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n auto --dist worksteal

prove: $(STAMP)
	$(BIN)/python tests/prove/prove.py

docs: $(STAMP)
	$(BIN)/python docs/build.py --out out/docs
	@echo "Open out/docs/index.html."

# Renew the results that the notebooks are committed with
notebooks: $(STAMP)
	$(BIN)/python notebooks/run.py --renew

lab: $(STAMP)
	$(BIN)/jupyter lab notebooks

# The lock is made anew with: make lock (then run the tests)
lock:
	$(PYTHON) -m venv .lock-venv
	.lock-venv/bin/pip install --quiet --editable '.[lab,what-if,docs,dev]'
	.lock-venv/bin/pip freeze --exclude-editable > requirements.lock
	rm -rf .lock-venv

# Byte code is made where a module is first imported: most that is installed never is
$(STAMP): pyproject.toml requirements.lock
	$(PYTHON) -m venv .venv
	$(BIN)/pip install --quiet --disable-pip-version-check --no-compile --requirement requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --editable .
	touch $(STAMP)

clean:
	rm -rf .venv out
