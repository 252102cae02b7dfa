"""`ligule`: weather-aware feeding plans. Every command works on one estate folder."""

import sys
from pathlib import Path

import click

from adapters.cli import (
    db,
    decisions,
    demo,
    import_,
    init,
    ledger,
    picture,
    records,
    replay,
    seasonal,
    service,
    suggest,
    verify,
)
from adapters.cli.context import Context


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.option(
    "--estate", type=click.Path(path_type=Path), default=".", show_default=True, envvar="LIGULE_ESTATE",
    help="The estate folder.",
)  # fmt: skip
@click.version_option(package_name="ligule")
@click.pass_context
def main(ctx: click.Context, estate: Path) -> None:
    """Keeps every lawn's feeding plan against the forecast.

    Advice only: the product label, local law and a licensed person stand above it.
    """
    for stream in (sys.stdout, sys.stderr):  # a pipe in a bare locale must not break on a sign
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    ctx.obj = Context(estate)


for command in (
    demo.demo,
    service.check,
    decisions.brief,
    decisions.why,
    picture.picture_command,
    seasonal.plan,
    seasonal.mix,
    suggest.suggest,
    records.record,
    records.skip,
    records.undo,
    ledger.ledger,
    import_.import_command,
    db.db,
    init.init,
    service.run,
    verify.verify,
    replay.replay,
):
    main.add_command(command)


if __name__ == "__main__":
    main()
