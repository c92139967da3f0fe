"""The command `agree`: its commands, and how every error ends; everything heavy is imported inside functions."""

from __future__ import annotations

import os
import sys
from typing import NoReturn

import click

from agree.cli.commands.check import check
from agree.cli.commands.completion import completion
from agree.cli.commands.correct import correct
from agree.cli.commands.demo import demo
from agree.cli.commands.devices import devices_command
from agree.cli.commands.look import look_command
from agree.cli.commands.physics.climb import climb
from agree.cli.commands.physics.static import static
from agree.cli.commands.plan import plan_command
from agree.cli.commands.schema import schema
from agree.cli.commands.study import study
from agree.cli.commands.trials import trials_command
from agree.cli.terminal import say
from agree.cli.words import COMMAND_OPTIONS, OLD_OPTIONS

BAD_INPUT = 2
# What a library error's argument is called on the command line, where the two differ.
OPTIONS = {"max_lag_s": "--max-lag S", "lag_s": "--lag S", "window_s": "--window", "drivetrain_loss": "--loss",
           "decision_rule": "--rule", "pilot": "--from",
           "power_columns": "--reference-column NAME --device-column NAME",
           "even_if_unstable": "--even-if-unstable", "scale": "--scale FACTOR"}
READ_OPTIONS = {"power_column": "power", "time_column": "time", "cadence_column": "cadence", "speed_column": "speed",
                "delimiter": "delimiter", "decimal": "decimal", "day_first": "dates", "zone": "zone",
                "column": "column"}


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(None, "-V", "--version", package_name="agree-devices", prog_name="agree",
                      message="%(prog)s %(version)s")
def command() -> None:
    """Decide whether a measuring device keeps its maker's accuracy claim.

    Compares a device under test with a trusted reference that recorded the same effort. Start with: agree demo
    """


for _one in (check, climb, completion, correct, demo, devices_command, look_command, plan_command, schema, static,
             study, trials_command):
    command.add_command(_one)


def _stop(message: str) -> NoReturn:
    from agree.core.results.plain import plain_name

    say("agree: " + plain_name(" ".join(message.split())), err=True)
    sys.exit(BAD_INPUT)


def in_options(message: str, option: str, words: list[str]) -> str:
    """Add to a library error what its argument is called on the command line."""
    if option in READ_OPTIONS:
        key = READ_OPTIONS[option]
        names = {"look": f"--read {key}=...", "check": f"--reference-read {key}=... or --device-read {key}=..."}
        told = names.get(words[0] if words else "")
        return f"{message}; on the command line: {told}" if told else message
    if words and option in COMMAND_OPTIONS.get(words[0], {}):
        return f"{message}; on the command line: {COMMAND_OPTIONS[words[0]][option]}"
    if option in OPTIONS and words[:1] in (["check"], ["correct"], ["plan"]):
        return f"{message}; on the command line: {OPTIONS[option]}"
    return message


def usage_words(error: click.ClickException, words: list[str]) -> str:
    """Say a wrong call, with the new spelling of what is spelt in an old way."""
    message = error.format_message().rstrip(".")
    if isinstance(error, click.NoSuchOption) and error.option_name in OLD_OPTIONS:
        return f"{message}; it is {OLD_OPTIONS[error.option_name]} now"
    if "--sessions" in words and "unexpected extra argument" in message:
        return "--sessions takes a list or a folder; a further session's two files are given as --session REF DEV"
    if "'--json' requires an argument" in message:
        return f"{message}: a file, or - to print the JSON"
    name = " ".join(["agree", *(word for word in words[:1] if word in command.commands)])
    return f"{message}; see {name} --help"


def main() -> None:
    """Run the command; bad input ends in one line on stderr and exit status 2, never a traceback."""
    # Matrices of a check are small: threads of linear algebra would spin and wait, a fifth of the processor time.
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal without the sign ± still gets the numbers
    words = sys.argv[1:]
    try:
        command.main(prog_name="agree", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.format_message())
        sys.exit(BAD_INPUT)
    except click.ClickException as error:
        _stop(usage_words(error, words))
    except (KeyboardInterrupt, click.exceptions.Abort):
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
    except OSError as error:
        _stop(f"{error.filename or ''}: {error.strerror or error}")
    except Exception as error:  # the last resort: a fault of ours must not look like a result
        from agree.core.errors import AgreeError

        if isinstance(error, AgreeError):
            _stop(in_options(str(error), error.option, words))
        _stop(f"internal fault, {type(error).__name__}: {error}; please report it with the two files")
