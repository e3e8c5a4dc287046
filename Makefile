# Each target is one line that calls tasks.py; where there is no make, `python tasks.py demo` does the same.
PYTHON ?= python3

.PHONY: demo test check bench docs

demo:
	@$(PYTHON) tasks.py demo $(ARGS)

test:
	@$(PYTHON) tasks.py test $(ARGS)

check:
	@$(PYTHON) tasks.py check $(ARGS)

bench:
	@$(PYTHON) tasks.py bench $(ARGS)

docs:
	@$(PYTHON) tasks.py docs $(ARGS)
