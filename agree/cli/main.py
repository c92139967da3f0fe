"""The command `agree`: its commands, and how every error ends; everything heavy is imported inside functions."""

from __future__ import annotations

import sys
from typing import NoReturn

import click

from agree.cli.check import check
from agree.cli.correct import correct
from agree.cli.demo import demo
from agree.cli.devices import devices_command
from agree.cli.look import look_command
from agree.cli.plan import plan_command
from agree.cli.schema import schema
from agree.cli.static import static
from agree.cli.study import study
from agree.cli.trials import trials_command

BAD_INPUT = 2


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(package_name="agree-devices", prog_name="agree", message="%(prog)s %(version)s")
def command() -> None:
    """Decide whether a measuring device keeps its maker's accuracy claim.

    Compares a device under test with a trusted reference that recorded the same effort.
    """


for _one in (check, correct, demo, devices_command, look_command, plan_command, schema, static, study, trials_command):
    command.add_command(_one)


# Argument of the library -> key of the command line's --reference-read, --device-read and --read.
READ_OPTIONS = {"power_column": "power", "column": "column", "time_column": "time", "cadence_column": "cadence",
                "speed_column": "speed", "delimiter": "delimiter", "decimal": "decimal", "day_first": "dates",
                "zone": "zone"}

# Argument of the library -> option of the command line.
OPTIONS = {"power_columns": "--reference-column NAME --device-column NAME", "even_if_unstable": "--even-if-unstable",
           "scale": "--scale FACTOR", "lag_s": "--lag S", "max_lag_s": "--max-lag S"}


def _stop(message: str, option: str = "") -> NoReturn:
    """Print one line and end; an argument that the error speaks of is said as the command line has it."""
    from agree.core.plain import plain_name

    key = READ_OPTIONS.get(option)
    if key is not None and sys.argv[1:2] == ["check"]:
        message += f"; on the command line: --reference-read {key}=... or --device-read {key}=..."
    elif key is not None and sys.argv[1:2] == ["look"]:
        message += f"; on the command line: --read {key}=..."
    elif option in OPTIONS and sys.argv[1:2] in (["check"], ["correct"]):
        message += f"; on the command line: {OPTIONS[option]}"
    click.echo("agree: " + plain_name(" ".join(message.split())), err=True)
    sys.exit(BAD_INPUT)


def main() -> None:
    """Run the command; bad input ends in one line on stderr and exit status 2, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal without the sign ± still gets the numbers
    try:
        command.main(standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(BAD_INPUT)
    except click.ClickException as error:
        _stop(f"{error.format_message().rstrip('.')}; see agree --help")
    except (KeyboardInterrupt, click.exceptions.Abort):
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
    except OSError as error:
        _stop(f"{error.filename or ''}: {error.strerror or error}")
    except Exception as error:  # the last resort: a fault of ours must not look like a result
        from agree.core.errors import AgreeError

        if isinstance(error, AgreeError):
            _stop(str(error), error.option)
        _stop(f"internal fault, {type(error).__name__}: {error}; please report it with the two files")
