"""`python -m amptrail`: the command line without the installed script."""

from amptrail.cli.main import run

run()
