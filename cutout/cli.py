"""The command line: parse, call one function, print. No geometry is imported until a command needs it."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cutout import __version__
from cutout.errors import CutoutError, OutputError, in_one_line, plain, shown
from cutout.job.options import Flag, asked_for, flags, is_job_file, usual_folder
from cutout.processes import own_process
from cutout.units import Units, count, format_length, format_minutes, format_rule, format_size

if TYPE_CHECKING:
    from cutout.finding import Finding
    from cutout.folder import Outcome
    from cutout.geom.outline import Note
    from cutout.job.schema import Job
    from cutout.run import Progress
    from cutout.say import Said
    from cutout.write.outputs import Written
    from cutout.write.work import Work

PATIENCE = 5.0
"""Seconds the program has for an orderly end after it was told to end."""
STOPS_SHOWN = 8
"""So many stops of one kind are spelled out; the rest are counted."""
BAD_INPUT, NEEDS_USER, INTERRUPTED = 2, 1, 130
"""Exit codes; 128 + 2 is what shells say of a program stopped from the keyboard."""


def main() -> None:
    """Entry point: every failure is one line and an exit code, never a traceback."""
    _open_closed_streams()
    _end_as_interrupted()
    own_process()
    code = run(sys.argv[1:])
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            # What could not be said was told as an error; the interpreter is not to try again at its end.
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    if code == INTERRUPTED:
        # An interrupt that falls inside exec() of a string (dataclasses do that while being imported) makes the
        # interpreter end by the signal itself however it was handled; leave without asking it.
        os._exit(code)
    sys.exit(code)


def _open_closed_streams() -> None:
    """Give a stream that was closed by who started this (as `2>&-` does) a place to go to.

    Without it the next file that is opened would get its number, and messages would go into that file.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, "r" if number == 0 else "w", encoding="utf-8", closefd=False))  # noqa: SIM115


def _end_as_interrupted() -> None:
    """A polite end (SIGTERM) and a closed terminal (SIGHUP) are an interrupt: what is half done is undone.

    One that whoever started this wants to be ignored, as `nohup` does, stays so.
    """
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, lambda *_: signal.raise_signal(signal.SIGINT))
    heard, told = os.pipe()
    os.set_blocking(told, False)
    signal.set_wakeup_fd(told, warn_on_full_buffer=False)
    threading.Thread(target=_end_anyway, args=(heard,), daemon=True).start()


def _end_anyway(heard: int) -> None:
    """End the program some seconds after it was told to, where it is deep in work that can't be interrupted.

    The interpreter hears of a signal between two of its own steps only, and a step may be minutes of geometry. Files
    that are being swapped in have their journal.
    """
    ends = {getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")}
    while os.read(heard, 1)[0] not in ends:
        pass
    time.sleep(PATIENCE)
    _complain("interrupted; nothing half written.")
    os._exit(INTERRUPTED)


def run(arguments: list[str]) -> int:
    """Run one command line and return its exit code; prints, never raises."""
    try:
        return int(cli.main(arguments, prog_name="cutout", standalone_mode=False) or 0)
    except (click.exceptions.Abort, KeyboardInterrupt):
        _complain("interrupted; nothing half written.")
        return INTERRUPTED
    except click.ClickException as error:
        _complain(f"{error.format_message()} `cutout --help` shows how.")
        return BAD_INPUT
    except Exception as error:
        if os.environ.get("CUTOUT_TRACEBACK") and not isinstance(error, CutoutError | MemoryError):
            raise
        _complain(in_one_line(error))
        return BAD_INPUT


def _complain(text: str) -> None:
    """One line on standard error; where that takes nothing, the exit code has to do."""
    with suppress(OSError):
        click.echo(f"cutout: {plain(text)}", err=True)


def _say(text: str) -> None:
    """One or more lines on standard output. Raises OutputError."""
    try:
        click.echo("\n".join(plain(line) for line in text.split("\n")))
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(
            f"standard output takes no more ({(error.strerror or str(error)).lower()})."
        ) from error


@click.group(
    epilog="Start with: cutout make PICTURE --width 400mm --panel 500x700mm, then open PICTURE-cutout/cutsheet.html."
)
@click.version_option(__version__)
def cli() -> None:
    """Turn a silhouette into a panel cutout that can really be sawn.

    `make` works out a whole job into a folder, `check` only says what would be wrong with it.
    """


class JobCommand(click.Command):
    """A command with the flags that the schema of a job declares; they are made when it is called, not before."""

    writing = False

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """The command's own parameters and the schema's."""
        made = [_option(flag) for flag in flags(writing=self.writing)]
        own = super().get_params(ctx)
        arguments = [p for p in own if isinstance(p, click.Argument)]
        return [*arguments, *made, *(p for p in own if p not in arguments)]


class WritingCommand(JobCommand):
    """The same with the flags of what is written."""

    writing = True


_OF_KIT = {
    "blade": "blades",
    "drill": "drill_sets",
    "bit": "bits",
    "small_bit": "bits",
    "machine": "machines",
    "wood": "woods",
    "paper": "papers",
}
"""Flags that name something in the kit: the shell completes them."""


def _option(flag: Flag) -> click.Option:
    if flag.form in ("switch", "pair"):
        name = flag.name if flag.form == "switch" else f"{flag.name}/--no-{flag.name.removeprefix('--')}"
        return click.Option([name], is_flag=True, default=None, help=flag.help)
    kind = click.Choice(flag.choices) if flag.choices else click.STRING
    complete = _names(_OF_KIT[flag.key]) if flag.key in _OF_KIT else None
    metavar = None if flag.choices else flag.word
    return click.Option([flag.name], type=kind, metavar=metavar, help=flag.help, shell_complete=complete)


def _names(kind: str) -> Callable[[click.Context, click.Parameter, str], list[str]]:
    """What the shell may complete an option with: the names of one kind of thing in the kit."""

    def matching(context: click.Context, parameter: click.Parameter, typed: str) -> list[str]:
        from cutout import kit

        return [name for name in getattr(kit, kind)() if name.startswith(typed)]

    return matching


@cli.command(cls=WritingCommand, short_help="Work out a whole job into a folder.")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=True), help="Folder for the files [NAME-cutout]."
)
def make(source: Path, out: Path | None, **options: Any) -> int:
    """Work out the whole job of SOURCE (a picture, an SVG, a DXF, or a job.toml) into a folder.

    SOURCE may be a folder: then every picture in it is worked out with the same options, on all cores.
    """
    if source.is_dir():
        return _make_folder(source, out or Path(f"{source.resolve().name}-cutout"), options)
    target = out or usual_folder(source)
    _recover(source.parent, target)
    job, folder = asked_for(source, options)
    if job.names is not None:
        return _make_names(job, folder, target)
    with _progress() as progress:
        from cutout.run import make as work_out
        from cutout.write.outputs import refuse_sources, write_out

        refuse_sources(job, folder, target)
        work = work_out(job, folder, progress, job_file=source if is_job_file(source) else None)
        progress("drawing the template", 0.9)
        written = write_out(work, target)
    try:
        _say_findings(work.findings, work.units)
        _say_work(work)
        _say_written(written, target)
    except OutputError as error:
        raise OutputError(f"{error} All {len(written.names)} files are in {shown(target)}, whole.") from error
    return NEEDS_USER if _open_stops(work.findings) else 0


def _say_written(written: Written, target: Path) -> None:
    _say(f"{len(written.names)} files in {shown(target)}: {', '.join(written.names)}")
    if written.removed:
        _say(f"gone from there, of an earlier run and not of this one: {', '.join(written.removed)}")
    if written.kept:
        _say(
            f"care  {', '.join(written.kept)} there: of an earlier run, changed by hand since, NOT of this job.\n"
            "      Move or remove what you don't need, so that nobody cuts by it."
        )


def _recover(*folders: Path) -> None:
    """Put right what a run that was killed left in the folders a command reads from or writes to."""
    from cutout.write.files import recover

    for folder in folders:
        if recover(folder):
            _say(f"note  {shown(folder)}: a run was cut short there; its files were put right.")


def _make_names(job: Job, folder: Path, out: Path) -> int:
    """A sign for every name of a list, one summary, and the boards they are laid out on."""
    from cutout.boards import make_names

    with _progress() as progress:
        done: list[str] = []

        def each(outcome: Outcome) -> None:
            done.append(outcome.source.stem)
            progress(outcome.source.stem, 0.5)

        outcomes, boards = make_names(job, folder, out, each)
    return _say_outcomes(outcomes, out, "sign", boards)


def _make_folder(source: Path, out: Path, options: dict[str, Any]) -> int:
    """Every picture of a folder, and one summary."""
    from cutout.folder import made_all, pictures_in

    pictures = pictures_in(source)
    with _progress() as progress:
        done: list[str] = []

        def each(outcome: Outcome) -> None:
            done.append(outcome.source.name)
            progress(outcome.source.name, len(done) / len(pictures))

        outcomes = made_all(pictures, out, options, each)
    return _say_outcomes(outcomes, out, "picture")


def _say_outcomes(outcomes: tuple[Outcome, ...], out: Path, what: str, more: str = "") -> int:
    """One line for each of several jobs, and one for all."""
    from cutout.folder import exit_code

    widest = max(len(plain(o.source.name)) for o in outcomes)
    for outcome in outcomes:
        _say(
            f"{('done', 'STOP', 'FAIL')[outcome.code]}  {plain(outcome.source.name):{widest}}  {outcome.line}"
        )
    codes = [o.code for o in outcomes]
    _say(
        f"{count(len(outcomes), what)} into {shown(out)}: {codes.count(0)} done, "
        f"{codes.count(1)} with something to stop for, {codes.count(2)} that could not be made."
    )
    if more:
        click.echo(f"{more}.")
    return exit_code(outcomes)


@cli.command(cls=JobCommand, short_help="Only say what would be wrong, and at what size it would work.")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--sizes/--no-sizes", default=True, help="Also say at what size each blade manages.")
@click.option("--every", is_flag=True, help="List every finding, not one line for each kind.")
def check(source: Path, sizes: bool, every: bool, **options: Any) -> int:
    """Say what would be wrong with SOURCE; exit 1 where something can't be cut or would drop out."""
    _recover(source.parent, usual_folder(source))
    job, folder = asked_for(source, options)
    if job.names is not None:
        from cutout.boards import longest

        name, job = longest(job, folder)
        click.echo(f"Of the list, {name} is checked, the longest.")
    with _progress() as progress:
        from cutout.run import check_laid, lay_out, notes_on, size_table
        from cutout.say.source import sentence

        progress("checking", 0.1)
        laid = lay_out(job, folder)
        findings, notes = check_laid(laid), notes_on(laid, laid.pattern)
        units = laid.asked.kit.units
        measures = any(note.kind == "camera" for note in notes) and not every
        progress("trying sizes and blades", 0.4)
        table = size_table(laid) if sizes and not measures else ""
    if measures:
        return _say_measured(notes, units, len(findings))
    _say_findings(findings, units, every)
    _say_notes(tuple(sentence(note, units) for note in notes))
    if table:
        _say(table)
    _say(f"{count(len(laid.pattern.openings), 'opening')}, {_count(findings)}.")
    return NEEDS_USER if _open_stops(findings) else 0


def _say_measured(notes: Sequence[Note], units: Units, left_out: int) -> int:
    """What a photo of the camera card tells, that first: it is there to be measured, and nobody means to saw it."""
    from cutout.say.source import sentence

    ordered = sorted(notes, key=lambda note: note.kind != "camera")
    _say_notes(tuple(sentence(note, units) for note in ordered))
    if left_out:
        _say(
            f"What sawing it would take is left out, {count(left_out, 'finding')}; `cutout check --every` tells it."
        )
    return 0


@cli.command(name="nest", short_help="Lay finished pieces out on boards.")
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path, file_okay=False))
@click.option("--board", "board_size", required=True, help="Length x width of a board, like 1200x300mm.")
@click.option("--gap", default="6mm", help="Least distance between pieces [6mm].")
@click.option("--margin", default="5mm", help="Wood left at the board's edges [5mm].")
@click.option("--grain/--no-grain", default=True, help="Pieces keep their direction to the grain.")
@click.option("--holes/--no-holes", default=True, help="Small pieces may lie in openings of large ones.")
@click.option("--tries", type=click.IntRange(0, 5000), default=40, help="Orders of the pieces tried [40].")
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", help="Units of bare numbers.")
@click.option("--out", type=click.Path(path_type=Path), default=Path("boards"), help="Folder [boards].")
def nest_command(folders: tuple[Path, ...], board_size: str, out: Path, units: Units, **options: Any) -> int:
    """Lay the pieces of finished jobs (FOLDERS that `cutout make` wrote, or folders of those) out on boards."""
    from cutout.boards import lay_on_boards, results_in
    from cutout.job.schema import Job, NestPart
    from cutout.units import parse_length, parse_size

    length, width = parse_size(board_size, units, what="--board")
    sizes = {name: parse_length(options.pop(name), units, what=f"--{name}") for name in ("gap", "margin")}
    part = NestPart(length=length, width=width, **sizes, **options)
    _say(f"{lay_on_boards(results_in(folders), part, Job(units=units), Path(), out)}.")
    _say(f"boards.pdf, boards.dxf, boards.json and a job for each board in {shown(out)}")
    return 0


@cli.command(short_help="List blades, drills, bits, machines, woods and papers, with sources.")
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", help="Units to list lengths in.")
@click.option("--mine", is_flag=True, help="Only what your own kit file holds, and where it is.")
def kit(units: Units, mine: bool) -> int:
    """List blades, drills, bits, machines, woods and papers, with the source of each value."""
    from cutout.kit import listing

    _say(listing.mine(units) if mine else listing.listing(units))
    return 0


@cli.command(short_help="Print a test card for your saw, or read a photo of the sawn card.")
@click.argument("photo", type=click.Path(path_type=Path), required=False)
@click.option("--blade", default="jigsaw-narrow", help="Blade to test.", shell_complete=_names("blades"))
@click.option("--paper", "paper_name", default="a4", help="Paper to print on.")
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", help="Units on the card.")
@click.option("--out", type=click.Path(path_type=Path), help="File to write [gauge.pdf, or PHOTO-read.png].")
@click.option(
    "--minutes", type=click.FloatRange(min=0, min_open=True), help="Minutes it took to saw the card."
)
@click.option(
    "--entry", type=click.FloatRange(min=0, min_open=True), help="Seconds to let the blade in once."
)
@click.option("--hole", type=click.FloatRange(min=0, min_open=True), help="Seconds to mark and drill a hole.")
@click.option("--square", help="The check square as you measured it on the print, like 49.8x49.9mm.")
@click.option("--allowance", default="0.5mm", help="How far an arc's slot may stray [0.5mm].")
@click.option("--wood", default="", help="Wood of the scrap, to keep with the values.")
@click.option("--thickness", help="Thickness of the scrap, to keep with the values.")
@click.option("--keep", is_flag=True, help="Keep what was read for later jobs.")
@click.option("--replace", is_flag=True, help="Keep it in place of what was kept before of the same.")
@click.option("--kit", "kit_file", type=click.Path(path_type=Path), help="File to keep it in [mine.toml].")
@click.option("--date", help="Day it was measured, like 2026-11-26 [today].")
@click.option(
    "--camera", is_flag=True, help="Print a silhouette to photograph instead: how far off is the camera?"
)
def gauge(
    photo: Path | None,
    blade: str,
    paper_name: str,
    units: Units,
    out: Path | None,
    camera: bool,
    **options: Any,
) -> int:
    """Print a test card; with PHOTO, read the sawn card: kerf, turning radius, and how your hand leads the saw."""
    if camera and photo is None:
        from cutout.run import write_camera_card

        out = out or Path("camera.pdf")
        write_camera_card(paper_name, units, out)
        _say(
            f"{out}: print it at full size, photograph it on darker ground, and let `cutout check PHOTO --sheet "
            f"{paper_name} --panel 300x400mm` say how far off the photo is."
        )
        return 0
    if camera:
        raise click.UsageError(
            f"a photo of the camera card is read by `cutout check {photo} --sheet {paper_name} --panel 300x400mm`."
        )
    if photo is None:
        from cutout.run import write_gauge

        out = out or Path("gauge.pdf")
        write_gauge(blade, paper_name, units, out)
        _say(f"{out}: print it at full size, measure the check square, then saw the scrap.")
        return 0
    return _read_gauge(photo, blade, units, out or Path(f"{photo.stem}-read.png"), options)


def _read_gauge(photo: Path, blade_name: str, units: Units, out: Path, options: dict[str, Any]) -> int:
    from cutout.kit import blade, mine_path
    from cutout.run import keep_measured, measured_from, read_gauge
    from cutout.units import parse_positive, parse_size
    from cutout.write.files import write_file

    name = blade(blade_name).name
    square = options["square"] and parse_size(options["square"], units, what="--square")
    allowance = parse_positive(options["allowance"], units, what="--allowance")
    thickness = options["thickness"] and parse_positive(options["thickness"], units, what="--thickness")
    gauged = read_gauge(photo, units, options["minutes"], square, allowance)
    write_file(out, gauged.picture)
    for line in gauged.said:
        _say(line)
    _say(f"{shown(out)}: look at it before you trust these values.")
    if options["keep"] or options["replace"]:
        into = options["kit_file"] or mine_path()
        timed = {what: options[what] for what in ("entry", "hole")}
        found = measured_from(
            gauged.reading, name, options["date"], options["wood"], thickness, photo.name, **timed
        )
        keep_measured(found, into, replacing=options["replace"])
        _say(f"kept in {shown(into)} for {name}: later jobs use it.")
    return NEEDS_USER if gauged.reading.unread else 0


@cli.command(short_help="Hold photos of the sawn panel against its pattern.")
@click.argument("result", type=click.Path(path_type=Path))
@click.argument("photos", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", help="Units to answer in.")
@click.option("--least", default="0.3mm", help="From so far off the line a spot is worth a file [0.3mm].")
@click.option("--out", type=click.Path(path_type=Path), help="File to write [PHOTO-compared.png].")
def compare(result: Path, photos: tuple[Path, ...], units: Units, least: str, out: Path | None) -> int:
    """Hold PHOTOS of the sawn panel, on a plain ground, against the pattern in RESULT (result.json)."""
    from cutout.run import compare_photos
    from cutout.units import parse_positive
    from cutout.write.files import write_file

    held = compare_photos(result, photos, units, parse_positive(least, units, what="--least"))
    target = out or Path(f"{photos[0].stem}-compared.png")
    write_file(target, held.picture)
    for line in held.said:
        _say(line)
    _say(f"{shown(target)}: the outline in colour.")
    return NEEDS_USER if held.found.spots else 0


@cli.command(short_help="The same in the browser, on this computer only.")
@click.option("--port", type=click.IntRange(1, 65535), help="Port on 127.0.0.1 [any free one].")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), help="Where jobs are kept.")
@click.option(
    "--share", is_flag=True, help="Show the steps of the open job, read only, to phones in your network."
)
def page(port: int | None, browser: bool, folder: Path | None, share: bool) -> int:
    """Start the local web page (this computer only) and open it."""
    from cutout.page import serve

    # The server ends by itself when it is told to, and waits for what is under way.
    signal.set_wakeup_fd(-1)
    serve(port=port, open_browser=browser, folder=folder, share=share)
    return 0


@contextmanager
def _progress() -> Iterator[Progress]:
    """A progress bar on standard error where work lasts over a second; nothing when it is not a terminal."""
    if not sys.stderr.isatty():
        yield lambda stage, done: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    begun = time.monotonic()
    with Bar(
        TextColumn("{task.description}"), BarColumn(), console=Console(stderr=True), transient=True
    ) as bar:
        task = bar.add_task("", total=1.0, visible=False)

        def show(stage: str, done: float) -> None:
            bar.update(task, description=stage, completed=done, visible=time.monotonic() - begun > 1.0)

        yield show


def _say_findings(findings: tuple[Finding, ...], units: Units, every: bool = False) -> None:
    """Stops one by one, the first few of each kind; things to take care with by kind; all if every is asked for."""
    from cutout.say import Words, said, together

    place = Words(units).place
    care: list[tuple[Finding, Said]] = []
    stops: dict[str, int] = {}
    for finding in findings:
        if finding.cleared:
            continue
        if finding.severity == "stop":
            stops[finding.kind] = stops.get(finding.kind, 0) + 1
            if stops[finding.kind] > STOPS_SHOWN and not every:
                continue
        words = said(finding, units)
        if finding.severity == "stop" or every:
            mark = "STOP" if finding.severity == "stop" else "care"
            _say(f"{mark}  {finding.kind} at {place(*finding.at)}: {words.text}\n      {words.remedy}")
        else:
            care.append((finding, words))
    for kind, many in stops.items():
        if many > STOPS_SHOWN and not every:
            _say(f"STOP  {kind}: {many - STOPS_SHOWN} more; `cutout check --every` lists them all.")
    for group in together(care):
        which = "the worst" if group.by_measure else "the first"
        where = place(*group.worst.at)
        how_many = f" ({group.count} of them, {which} at {where})" if group.count > 1 else f" at {where}"
        _say(f"care  {', '.join(group.kinds)}{how_many}: {group.words.text}\n      {group.words.remedy}")


def _say_notes(notes: tuple[str, ...]) -> None:
    for note in notes:
        _say(f"note  {plain(note)}")


def _say_work(work: Work) -> None:
    units, plan = work.units, work.plan
    _say_notes(work.said_notes)
    x0, y0, x1, y1 = work.pattern.figure.bounds
    blade = work.kit.blade
    _say(
        f"silhouette {format_size(x1 - x0, y1 - y0, units)}, {count(len(work.pattern.openings), 'opening')}; "
        f"turning radius {format_length(blade.turning_radius, units)} ({blade.radius_from})"
    )
    if work.eased is not None and work.eased.moved:
        _say(f"eased: the outline moved {format_length(work.eased.max_shift, units)} at most")
    if work.bridges:
        hold = "holds" if len(work.bridges) == 1 else "hold"
        _say(f"{count(len(work.bridges), 'bridge')} {hold} pieces that would drop out")
    _say(
        f"{count(len(plan.holes), 'hole')}, {count(len(plan.legs), 'leg')} in {count(plan.goes, 'go', 'goes')}, "
        f"{format_rule(plan.cut_length, units)} of cut, about {format_minutes(plan.minutes)} (an estimate); "
        f"{_verdict(work)}"
    )
    cleared = sum(f.cleared for f in work.findings)
    _say(f"{_count(work.findings)}" + (f", {cleared} mended." if cleared else "."))


def _verdict(work: Work) -> str:
    """What the proof showed, in one clause; never "proved" beside a plan that leaves something uncut."""
    if not work.proof.ok:
        return "NOT proved: see above"
    if any(f.kind == "plan" and f.severity == "stop" for f in work.plan.findings):
        return "what is planned is proved by simulation, but not everything could be planned: see above"
    if not work.proof.left_over:
        return "proved by simulation"
    deepest = max(spot.depth for spot in work.proof.left_over)
    spots = count(len(work.proof.left_over), "spot")
    return f"proved by simulation; {spots} for the file, {format_length(deepest, work.units)} deep at most"


def _count(findings: tuple[Finding, ...]) -> str:
    open_ones = [f for f in findings if not f.cleared]
    stops = sum(f.severity == "stop" for f in open_ones)
    return f"{stops} to stop for, {len(open_ones) - stops} to take care with"


def _open_stops(findings: tuple[Finding, ...]) -> bool:
    return any(f.severity == "stop" and not f.cleared for f in findings)


if __name__ == "__main__":
    main()
