"""The command line: one verb a job, each in a module of its own that is imported when it is called.

Exit codes: 0 good; 1 found something; 2 wrong use or configuration; 3 the outside world (endpoint, disk).
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Mapping
from typing import Any, Final

import click

from historian.errors import MeltledgerError, OutsideWorldAway
from meltledger import __version__

FOUND: Final = 1
WRONG: Final = 2
OUTSIDE: Final = 3

_VERBS: Final[Mapping[str, tuple[str, str]]] = {
    "demo": ("meltledger.verbs.demo", "A simulated line, collector, rules and pages, on embedded defaults."),
    "run": ("meltledger.verbs.run", "Collect, keep and judge one line."),
    "serve": ("meltledger.verbs.serve", "Show the pages of one or more lines."),
    "check": ("meltledger.verbs.check", "Find faults in a line's file without starting anything."),
    "discover": ("meltledger.verbs.discover", "Look at what a server has, and draft a line's file."),
    "trust": ("meltledger.verbs.trust", "See and decide whose certificates a line believes."),
    "simulate": ("meltledger.verbs.simulate", "Run the simulated line, served or to a file."),
    "replay": ("meltledger.verbs.replay", "Judge stored data again with the live rules."),
    "backtest": (
        "meltledger.verbs.backtest",
        "Count what the rules find, miss and cry for nothing in stored trials.",
    ),
    "rules": ("meltledger.verbs.rules", "Show every rule of a line, its numbers, and whose they are."),
    "review": ("meltledger.verbs.review", "Show how many alarms came, beside the published figures."),
    "digest": ("meltledger.verbs.digest", "Show, write or send the maintenance digest; say what was done."),
    "import": ("meltledger.verbs.bring", "Bring a CSV file of a panel or a logger into a store."),
    "export": ("meltledger.verbs.export", "Write a window of a store as CSV, Parquet or Excel."),
    "doctor": ("meltledger.verbs.doctor", "Verify a store's folder and mend it from what is there."),
    "backup": ("meltledger.verbs.backup", "Copy a store into one checked file, also while a line runs."),
    "restore": ("meltledger.verbs.restore", "Put a backup back into an empty folder."),
    "clock": ("meltledger.verbs.clock", "Fix a source's clock offset for a stretch, on the record."),
    "calibration": ("meltledger.verbs.calibration", "Show which sensors are to be checked; record a check."),
    "trial": ("meltledger.verbs.trial", "Open and close trials, write down, see what came out."),
    "report": ("meltledger.verbs.report", "Write the report of a trial, as a page and as PDF."),
}


class Verbs(click.Group):
    """Verbs of which some have modules that are imported only when they are called: ``--help`` is quick.

    Args:
        late: verb → its module, and what it does; where its command is found by its name.
    """

    def __init__(self, *given: Any, late: Mapping[str, tuple[str, str]], **more: Any) -> None:
        super().__init__(*given, **more)
        self._late = late

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*super().list_commands(ctx), *self._late]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._late:
            return super().get_command(ctx, cmd_name)
        module = importlib.import_module(self._late[cmd_name][0])
        commands = [c for c in vars(module).values() if isinstance(c, click.Command) and c.name == cmd_name]
        return commands[0]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        here = [(name, c.get_short_help_str(200)) for name, c in sorted(self.commands.items())]
        with formatter.section("Verbs"):
            formatter.write_dl([*here, *((verb, text) for verb, (_, text) in self._late.items())])


@click.group(cls=Verbs, late=_VERBS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="meltledger")
def root() -> None:
    """Line-data historian and alarm reviewer for plastics-recycling trial lines.

    It reads machines and never writes to them. It is no safety function.
    """


def main(arguments: list[str] | None = None) -> None:
    """Run a verb and turn our errors into one message and an exit code."""
    try:
        result: Any = root.main(args=arguments, prog_name="meltledger", standalone_mode=False)
    except click.exceptions.Abort:
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(WRONG)
    except OutsideWorldAway as error:
        click.echo(f"meltledger: {error}", err=True)
        sys.exit(OUTSIDE)
    except MeltledgerError as error:
        click.echo(f"meltledger: {error}", err=True)
        sys.exit(WRONG)
    sys.exit(result if isinstance(result, int) else 0)
