"""`symptomtree trial`: runs a trial with a progress bar and prints what it comes to."""

import json
import sys

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from symptomtree.trials.gaps import SMALL, gap_table
from symptomtree.trials.gaps import render as render_gaps
from symptomtree.trials.report import data, dearest, render
from symptomtree.trials.trial import Trial, run


def show_trial(trial: Trial, jobs: int, scheduler: str | None = None, as_json: bool = False, worst: int = 0) -> None:
    """Run a trial and print it; the bar goes to the error stream, and only where someone can watch it.

    Raises:
        CannotTry: see `run`.
    """
    columns = (TextColumn("bikes"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=not sys.stderr.isatty()) as bar:
        worked = list(bar.track(run(trial, jobs, scheduler), total=trial.bikes))
    if as_json:
        print(json.dumps(data(trial, worked), indent=2))
        return
    for line in (*render(trial, worked), *dearest(worked, worst)):
        print(line)


def show_gaps(models: int, number: int) -> None:
    """Print how far each policy is from the exact optimum on small random problems."""
    print(f"{models} random problems: {SMALL.causes} causes, {SMALL.looks} questions, {SMALL.clusters} access states")
    print(render_gaps(gap_table(models, number)))
