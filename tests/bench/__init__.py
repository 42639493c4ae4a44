"""Speed, as ratios within one run: `python -m tests.bench`. Never a timed test; the one exact gate is a test."""
