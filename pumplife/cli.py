"""The command line: a thin door on the study."""

import argparse
import os
import signal
import sys
import threading
from collections.abc import Hashable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    import pandas as pd

DONE, STOPPED, WRONG_CALL = 0, 1, 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pumplife",
        description="From a plant's rebuild records to rebuild intervals and kit stock.",
    )
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    study = jobs.add_parser("study", help="the whole job: audit, lives, intervals, stock, budget")
    study.add_argument("folder", type=Path, help="plant folder, or one .xlsx with a sheet a table")
    study.add_argument("--out", type=Path, required=True, help="folder for the results")
    study.add_argument("--seed", type=_seed, help="seed of the random draws (default 1)")
    study.add_argument(
        "--since",
        type=Path,
        metavar="OLD_RESULTS",
        help="also what changed since an older study, and why",
    )
    study.add_argument(
        "--rewind",
        action="store_true",
        help="also the advice of past year-ends, and what came since (three times as long)",
    )
    _add_looks(jobs)
    _add_ticket(jobs)
    audit = jobs.add_parser("audit", help="only what is wrong with the records")
    audit.add_argument(
        "folder", type=Path, nargs="?", help="plant folder, or one .xlsx with a sheet a table"
    )
    audit.add_argument("--rules", action="store_true", help="list every check, and read no folder")
    audit.add_argument("--all", action="store_true", help="also what became of every ticket")
    new = jobs.add_parser("new", help="an empty, commented plant folder to fill")
    new.add_argument("folder", type=Path, help="the folder to make")
    new.add_argument(
        "--from",
        dest="export",
        type=Path,
        metavar="EXPORT",
        help="propose the mapping of this export: a .csv, an .xlsx or a folder of them",
    )
    return parser


def _add_looks(jobs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """The jobs that look at the advice itself: rewind, challenge."""
    rewind = jobs.add_parser(
        "rewind", help="the advice of past year-ends, held against what came since"
    )
    rewind.add_argument("folder", type=Path, help="plant folder, or one .xlsx")
    rewind.add_argument("--out", type=Path, metavar="FILE.csv", help="write every row here")
    rewind.add_argument("--seed", type=_seed, default=1, help="seed of the random draws")
    challenge = jobs.add_parser(
        "challenge", help="hold an interval that you would rather have against the advice"
    )
    challenge.add_argument("folder", type=Path, help="plant folder, or one .xlsx")
    challenge.add_argument(
        "--group", required=True, help="row of the table intervals, from 0, or words that name it"
    )
    challenge.add_argument(
        "--interval", type=_interval, required=True, help="usage units; inf = run to failure"
    )
    challenge.add_argument("--seed", type=_seed, default=1, help="seed of the random draws")


def _add_ticket(jobs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    ticket = jobs.add_parser("ticket", help="the rebuild ticket of one pump: one page to fill in")
    ticket.add_argument("folder", type=Path, help="plant folder, or one .xlsx")
    ticket.add_argument("--pump", required=True, help="its pump_id")
    ticket.add_argument("--side", choices=("fluid", "air"), default="fluid")
    ticket.add_argument("--out", type=Path, required=True, metavar="FILE.html")
    ticket.add_argument("--seed", type=_seed, default=1, help="seed of the random draws")


def _interval(word: str) -> float:
    try:
        interval = float(word)
    except ValueError:
        interval = float("nan")
    if not interval > 0.0:
        raise argparse.ArgumentTypeError(f"{word} is no interval: give a number above 0, or inf")
    return interval


def _seed(word: str) -> int:
    if not word.isdigit():
        raise argparse.ArgumentTypeError(f"{word} is no whole number from 0 up")
    return int(word)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one job; returns 0 done, 1 the records stop the study, 2 wrong call."""
    options = _parser().parse_args(arguments)
    from pumplife.errors import (  # noqa: PLC0415
        FolderError,
        PumplifeError,
        RecordError,
        SettingError,
    )

    try:
        with _tidy_when_stopped():
            return _run(options)
    except PumplifeError as error:
        _say(str(error), sys.stderr)
        export = getattr(options, "export", None)
        there = _is_plant(options.folder) if export is None else export.exists()
        unreadable = isinstance(error, FolderError) and there
        records_at_fault = unreadable or isinstance(error, RecordError | SettingError)
        return STOPPED if records_at_fault else WRONG_CALL
    except KeyboardInterrupt:
        _say("Interrupted; results written before are as they were.", sys.stderr)
        return WRONG_CALL


@contextmanager
def _tidy_when_stopped() -> Iterator[None]:
    """Let a request to stop tidy up as Ctrl-C does."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _run(options: argparse.Namespace) -> int:
    """Run the job that was called for."""
    if options.job == "new":
        return _new(options.folder) if options.export is None else _propose(options)
    if options.job == "audit":
        return _audit(options.folder, everything=options.all, rules=options.rules)
    jobs = {"rewind": _rewind, "challenge": _challenge, "ticket": _ticket, "study": _study}
    return jobs[options.job](options)


def _is_plant(path: Path) -> bool:
    """Whether the call was right: a folder or table that exists, readable or not."""
    try:
        return path.exists() and (path.is_dir() or path.suffix.lower() in (".xlsx", ".csv"))
    except OSError:
        return True  # there, and barred


def _say(words: str, stream: TextIO | None = None) -> None:
    stream = stream or sys.stdout
    try:
        stream.write(words + "\n")
        stream.flush()
    except BrokenPipeError:  # whoever reads, such as head, has read enough; the rest goes nowhere
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _new(folder: Path) -> int:
    from pumplife.records.template import write_template  # noqa: PLC0415

    write_template(folder)
    _say(f"Made {folder}: read its README.txt, fill plant.toml, pumps.csv and rebuilds.csv first.")
    return DONE


def _propose(options: argparse.Namespace) -> int:
    from pumplife.records.phrases import count_of  # noqa: PLC0415
    from pumplife.records.proposal import propose_folder  # noqa: PLC0415

    made = propose_folder(options.folder, options.export)
    for guess in made.guesses:
        columns = count_of(len(guess.lines), "column")
        _say(f"{guess.raw.source.label} is taken for {guess.table}, {columns}.")
    for label in made.strange:
        _say(f"{label} is no table that pumplife knows; it was not copied.")
    _say(
        f"Made {made.folder}: in its plant.toml {count_of(made.checks, 'line')} to check and "
        f"{count_of(made.fills, 'line')} to fill; then run pumplife audit {made.folder}."
    )
    return DONE


def _audit(folder: Path | None, *, everything: bool, rules: bool) -> int:
    if rules:
        return _list_rules()
    if folder is None:
        _say("Name the plant folder: pumplife audit FOLDER; --rules lists the checks.", sys.stderr)
        return WRONG_CALL
    from pumplife.study import audit_records  # noqa: PLC0415

    checked = audit_records(folder)
    _show(checked.audit)
    if everything:
        for row in checked.account.itertuples():
            _say(f"{row.kind} {row.key} {row.pump_id}: {row.status}. {row.reason}".rstrip())
    used = 0 if checked.account.empty else int(_used_tickets(checked.account)["count"].sum())
    _say(f"{len(checked.audit)} rows above; {used} tickets used. --all lists every ticket.")
    if len(checked.questions):
        asked = len(checked.questions)
        _say(f"Questions that only you can settle: {asked}. A study lists them, dearest first, in")
        _say("tables/questions.csv; write the answers into decisions.csv in the plant folder.")
    return STOPPED if checked.stopped else DONE


def _used_tickets(account: "pd.DataFrame") -> "pd.DataFrame":
    return account[(account["kind"] == "ticket") & account["status"].str.startswith("used")]


def _list_rules() -> int:
    """One block per check: severity, name, what it looks for, what follows, what to do."""
    from pumplife.report.rulebook import list_rules  # noqa: PLC0415

    rules = list_rules()
    for rule in rules:
        _say(f"{rule.severity}: {rule.name}")
        _say(f"  looks for: {rule.looks_for}")
        _say(f"  the study: {rule.does}")
        _say(f"  to do: {rule.remedy}")
    _say(f"{len(rules)} checks.")
    return DONE


def _show(audit: "pd.DataFrame") -> None:
    """One block per rule: severity, where, what, what follows, what to do."""
    for (severity, rule), rows in audit.groupby(["severity", "rule"], sort=False):
        _say(f"{severity}: {rule} ({len(rows)})")
        for row in rows.head(10).to_dict("records"):
            _say(f"  {_sentence(row)}")
        if len(rows) > 10:
            _say(f"  ... and {len(rows) - 10} more; a study writes them all to tables/audit.csv.")


def _sentence(row: "dict[Hashable, Any]") -> str:
    number = row["row"] if isinstance(row["row"], int | float) else float("nan")
    place = [str(row["table"]), f"row {number:.0f}" if number > 0 else "", str(row["pump_id"])]
    where = " ".join(filter(None, place))
    told = " ".join(filter(None, (str(row[name]) for name in ("what", "consequence", "remedy"))))
    return f"{where}: {told}" if where else told


def _study(options: argparse.Namespace) -> int:
    from pumplife.report.progress import Progress  # noqa: PLC0415
    from pumplife.report.write import check_output, write_study  # noqa: PLC0415
    from pumplife.study import STEPS, run_study  # noqa: PLC0415

    out = options.out
    check_output(out, options.folder)
    expected = [*STEPS, *["rewind"] * (4 * options.rewind), "report"]
    with Progress(expected) as told:
        study = run_study(
            options.folder,
            seed=options.seed,
            rewind=options.rewind,
            since=options.since,
            told=told,
        )
        told("report")
        write_study(study, out)
    if study.stopped:
        _show(study.tables["audit"].query("severity == 'stop'"))
        _say(f"The records stop the study; every finding is in {out / 'tables' / 'audit.csv'}.")
        return STOPPED
    _say(f"Done: open {out / 'report.html'}; tables are in {out / 'tables'}.")
    return DONE


def _rewind(options: argparse.Namespace) -> int:
    """The sentence and one line per past day; every row into a file where one is named."""
    from pumplife.errors import OutputError  # noqa: PLC0415
    from pumplife.records.files import write_whole  # noqa: PLC0415
    from pumplife.report.progress import Progress  # noqa: PLC0415
    from pumplife.rewind.rewind import run_rewind  # noqa: PLC0415

    out: Path | None = options.out
    if out is not None and (out.suffix.lower() != ".csv" or out.is_dir()):
        raise OutputError(f"{out} is no .csv file: name one, such as rewind.csv.")
    with Progress(["fits", *["rewind"] * 4]) as told:
        found = run_rewind(options.folder, seed=options.seed, told=told)
    _say(found.sentence)
    for line in found.say():
        _say(line)
    if out is not None:
        try:
            write_whole(found.to_frame().to_csv(index=False, lineterminator="\n"), out)
        except OSError as problem:
            raise OutputError(
                f"The rows can't be written to {out}: {problem.strerror}. Choose another file."
            ) from problem
        _say(f"Every row is in {out}.")
    return STOPPED if found.rows.empty else DONE


def _ticket(options: argparse.Namespace) -> int:
    from pumplife.errors import OutputError  # noqa: PLC0415
    from pumplife.report.face import is_invented  # noqa: PLC0415
    from pumplife.report.progress import Progress  # noqa: PLC0415
    from pumplife.study import run_study  # noqa: PLC0415
    from pumplife.ticket.write import write_one  # noqa: PLC0415

    out: Path = options.out
    if out.suffix.lower() not in (".html", ".htm") or out.is_dir():
        raise OutputError(f"{out} is no .html file: name one, such as ticket.html.")
    with Progress() as told:
        study = run_study(options.folder, seed=options.seed, told=told)
    write_one(study, options.pump, options.side, out, invented=is_invented(study))
    _say(f"Done: print {out}, or fill it in on a screen.")
    return DONE


def _challenge(options: argparse.Namespace) -> int:
    from pumplife.policy.challenge import challenge  # noqa: PLC0415
    from pumplife.report.progress import Progress  # noqa: PLC0415
    from pumplife.study import run_study  # noqa: PLC0415

    with Progress() as told:
        study = run_study(options.folder, seed=options.seed, told=told)
    answer = challenge(study, options.group, options.interval)
    _say(answer.title)
    for line in answer.say():
        _say(f"  {line}")
    return DONE


if __name__ == "__main__":
    sys.exit(main())
