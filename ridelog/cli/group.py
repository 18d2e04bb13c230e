"""The command group. Commands are found by name and loaded when called or listed."""

from __future__ import annotations

import click

from ridelog import __version__
from ridelog.cli.analyzing import analyze
from ridelog.cli.cases import case
from ridelog.cli.common import InOrder
from ridelog.cli.compare import compare
from ridelog.cli.diagnose import diagnose
from ridelog.cli.effect import effect
from ridelog.cli.importing import import_
from ridelog.cli.notes import note
from ridelog.cli.output import export, report
from ridelog.cli.places import places
from ridelog.cli.profiles import advice, bikes
from ridelog.cli.review import review
from ridelog.cli.rides import edit, remove, rides
from ridelog.cli.serving import demo, serve


@click.group(cls=InOrder, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="ridelog")
def ridelog() -> None:
    """Read logs of fuel-injected two-stroke enduro bikes: how hot, how long, where, and on which map.

    Start with `ridelog demo`, or `ridelog import YOUR-LOG.csv --bike BIKE`, then `ridelog analyze RIDE`.

    Figures are estimates. Decide with a qualified technician, the bike's handbook and local rules.
    """


for command in (
    import_,
    rides,
    analyze,
    diagnose,
    review,
    effect,
    compare,
    places,
    note,
    case,
    report,
    export,
    serve,
    demo,
    edit,
    remove,
    bikes,
    advice,
):
    ridelog.add_command(command)
