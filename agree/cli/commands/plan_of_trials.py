"""What `agree plan --trials` does: subjects and trials that would settle a claim."""

from __future__ import annotations

from typing import Any

import click
from click.core import ParameterSource

from agree.cli.outputs import outputs_are_no_inputs

OF_TRIALS = ("subject_sd", "trial_sd", "assume")
# Options that speak of recordings, and what to do instead in a study of trials.
OF_RECORDINGS = {
    "meaning": "a plan of trials shows every meaning",
    "session_sd": "give --subject-sd and --trial-sd",
    "pilot": "give a pilot's SDs, which agree trials --json writes as components, with --subject-sd and --trial-sd",
    "minutes": "say how many trials, with --trials",
    "bands": "agree trials --meaning levels judges both ends of the range",
    "sheet_file": "its rows are sessions on the road; a table of trials needs a row for each trial: subject, trial, "
                  "reference, device",
    "looks": "trials are checked once, when all subjects have been measured; who looks before then and stops at a good "
             "answer is wrong more often",
    "splits": "it is for recordings",
    "rule": "it is declared for recordings", "loss": "it is declared for recordings",
    "exclusions": "it is declared for recordings", "faults": "it is declared for recordings",
    "force": "it lets --declare replace a declaration, which is for recordings",
    "declare_file": "it is for recordings: agree trials has no --declared; send somebody claim, meaning, --assume and "
                    "the numbers planned before the first trial"}


def given(name: str) -> bool:
    """Whether an option was given, rather than left at its default."""
    return click.get_current_context().get_parameter_source(name) is not ParameterSource.DEFAULT


def _option(name: str) -> str:
    other = {"pilot": "--from", "splits": "--split", "exclusions": "--exclude"}
    return other.get(name, "--" + name.removesuffix("_file").replace("_", "-"))


def refuse_without_trials() -> None:
    """Refuse options of a study of trials where none is planned."""
    from agree.core.errors import InputError

    for name in OF_TRIALS:
        if given(name):
            raise InputError(f"{_option(name)} is for a study of trials; say how many each subject does: "
                             "--trials 1,3,5")


def plan_trials_command(options: dict[str, Any]) -> None:
    """Plan, and deliver.

    Raises
    ------
    InputError
        An option that speaks of recordings, or numbers that are not understood.
    """
    from agree.cli.commands.trials import deliver, in_options
    from agree.core.errors import InputError
    from agree.trials.planning import plan_trials

    for name, instead in OF_RECORDINGS.items():
        if name in options and given(name):
            raise InputError(f"{_option(name)} is not for --trials: {instead}")
    if options["subject_sd"] is None or options["trial_sd"] is None:
        raise InputError("--trials needs --subject-sd and --trial-sd, in the claim's unit: how much the error "
                         "differs between subjects, and between the trials of one")
    try:
        each = [int(part) for part in options["trials"].split(",")]
    except ValueError:
        raise InputError(f"--trials {options['trials']!r} is not understood; write it like 1,3,5") from None
    chances = options["chance"] or options["power"] or (0.8,)
    if len(chances) > 1:
        raise InputError("--chance is taken once with --trials; plan again for another")
    outputs_are_no_inputs([], options["json_file"])
    try:
        result = plan_trials(options["claim"], subject_sd=options["subject_sd"], trial_sd=options["trial_sd"],
                             trials=each, chance=chances[0], assume=options["assume"], level=options["level"],
                             reference_uncertainty=options["reference_uncertainty"])
    except InputError as error:
        raise type(error)(in_options(str(error))) from None
    from agree.report.texts.trials_text import plan_text

    deliver(result, options["json_file"], text=plan_text)
