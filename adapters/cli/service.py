"""`ligule check` and `ligule run`."""

import sys
from datetime import datetime

import click

from adapters.cli.context import INSTANT, Context, pass_context, plain_errors


@click.command()
@pass_context
@plain_errors
def check(context: Context) -> None:
    """x"""
    _ = context.estate


@click.command()
@click.option("--clock", type=INSTANT, help="Start with the clock at this instant, for trials; said on every message.")
@pass_context
@plain_errors
def run(context: Context, clock: datetime | None) -> None:
    """x"""
    sys.exit(0)
