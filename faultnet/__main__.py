"""`python -m faultnet`."""

from faultnet.cli.main import run

run()
