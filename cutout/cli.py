"""The command line: parse, call one function, print. No geometry is imported until a command needs it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cutout import __version__
from cutout.errors import CutoutError, in_one_line, shown
from cutout.job.options import Flag, asked_for, flags
from cutout.units import Units, count, format_length, format_size

if TYPE_CHECKING:
    from cutout.finding import Finding
    from cutout.folder import Outcome
    from cutout.run import Progress
    from cutout.write.work import Work

STOPS_SHOWN = 8
"""So many stops of one kind are spelled out; the rest are counted."""
BAD_INPUT, NEEDS_USER, INTERRUPTED = 2, 1, 130


def main() -> None:
    """Entry point: every failure is one line and an exit code, never a traceback."""
    code = run(sys.argv[1:])
    if code == INTERRUPTED:
        # An interrupt that falls inside exec() of a string (dataclasses do that while being imported) makes the
        # interpreter end by the signal itself however it was handled; leave without asking it.
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    sys.exit(code)


def run(arguments: list[str]) -> int:
    """Run one command line and return its exit code; prints, never raises."""
    try:
        return int(cli.main(arguments, prog_name="cutout", standalone_mode=False) or 0)
    except (click.exceptions.Abort, KeyboardInterrupt):
        click.echo("cutout: interrupted; nothing half written.", err=True)
        return INTERRUPTED
    except click.ClickException as error:
        click.echo(f"cutout: {error.format_message()} `cutout --help` shows how.", err=True)
        return BAD_INPUT
    except Exception as error:
        if os.environ.get("CUTOUT_TRACEBACK") and not isinstance(error, CutoutError | MemoryError):
            raise
        click.echo(f"cutout: {in_one_line(error)}", err=True)
        return BAD_INPUT


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
    "blade": "blades", "drill": "drill_sets", "bit": "bits", "wood": "woods", "paper": "papers",
}  # fmt: skip
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
    job, folder = asked_for(source, options)
    target = out or Path(f"{source.stem}-cutout")
    with _progress() as progress:
        from cutout.run import make as work_out

        work = work_out(job, folder, progress)
        progress("drawing the template", 0.9)
        written = work.write(target)
    _say_findings(work.findings)
    _say_work(work)
    click.echo(f"{len(written)} files in {shown(target)}: {', '.join(written)}")
    return NEEDS_USER if _open_stops(work.findings) else 0


def _make_folder(source: Path, out: Path, options: dict[str, Any]) -> int:
    """Every picture of a folder, and one summary."""
    from cutout.folder import exit_code, made_all, pictures_in

    pictures = pictures_in(source)
    with _progress() as progress:
        done: list[str] = []

        def each(outcome: Outcome) -> None:
            done.append(outcome.source.name)
            progress(outcome.source.name, len(done) / len(pictures))

        outcomes = made_all(pictures, out, options, each)
    widest = max(len(o.source.name) for o in outcomes)
    for outcome in outcomes:
        click.echo(
            f"{('done', 'STOP', 'FAIL')[outcome.code]}  {outcome.source.name:{widest}}  {outcome.line}"
        )
    codes = [o.code for o in outcomes]
    click.echo(
        f"{count(len(outcomes), 'picture')} into {shown(out)}: {codes.count(0)} done, "
        f"{codes.count(1)} with something to stop for, {codes.count(2)} that could not be made."
    )
    return exit_code(outcomes)


@cli.command(cls=JobCommand, short_help="Only say what would be wrong, and at what size it would work.")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--sizes/--no-sizes", default=True, help="Also say at what size each blade manages.")
@click.option("--every", is_flag=True, help="List every finding, not one line for each kind.")
def check(source: Path, sizes: bool, every: bool, **options: Any) -> int:
    """Say what would be wrong with SOURCE; exit 1 where something can't be cut or would drop out."""
    job, folder = asked_for(source, options)
    with _progress() as progress:
        from cutout.run import check_laid, lay_out, notes_on, size_table

        progress("checking", 0.1)
        laid = lay_out(job, folder)
        findings, notes = check_laid(laid), notes_on(laid, laid.pattern)
        progress("trying sizes and blades", 0.4)
        table = size_table(laid) if sizes else ""
    _say_findings(findings, every)
    _say_notes(notes)
    if table:
        click.echo(table)
    click.echo(f"{count(len(laid.pattern.openings), 'opening')}, {_count(findings)}.")
    return NEEDS_USER if _open_stops(findings) else 0


@cli.command(short_help="List blades, drills, bits, woods and papers, with sources.")
@click.option("--units", type=click.Choice(["mm", "in"]), default="mm", help="Units to list lengths in.")
def kit(units: Units) -> int:
    """List blades, drills, bits, woods and papers, with the source of each value, and what you measured."""
    from cutout.kit.listing import listing

    click.echo(listing(units))
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
@click.option("--square", help="The check square as you measured it on the print, like 49.8x49.9mm.")
@click.option("--allowance", default="0.5mm", help="How far an arc's slot may stray [0.5mm].")
@click.option("--wood", default="", help="Wood of the scrap, to keep with the values.")
@click.option("--thickness", help="Thickness of the scrap, to keep with the values.")
@click.option("--keep", is_flag=True, help="Keep what was read for later jobs.")
@click.option("--replace", is_flag=True, help="Keep it in place of what was kept before of the same.")
@click.option("--kit", "kit_file", type=click.Path(path_type=Path), help="File to keep it in [mine.toml].")
@click.option("--date", help="Day it was measured, like 2026-11-26 [today].")
def gauge(
    photo: Path | None, blade: str, paper_name: str, units: Units, out: Path | None, **options: Any
) -> int:
    """Print a test card; with PHOTO, read the sawn card: kerf, turning radius, and how your hand leads the saw."""
    if photo is None:
        from cutout.run import write_gauge

        out = out or Path("gauge.pdf")
        write_gauge(blade, paper_name, units, out)
        click.echo(f"{out}: print it at full size, measure the check square, then saw the scrap.")
        return 0
    return _read_gauge(photo, blade, units, out or Path(f"{photo.stem}-read.png"), options)


def _read_gauge(photo: Path, blade_name: str, units: Units, out: Path, options: dict[str, Any]) -> int:
    from cutout.kit import blade, mine_path
    from cutout.run import keep_measured, measured_from, read_gauge
    from cutout.units import parse_positive, parse_size
    from cutout.write.files import write_files

    name = blade(blade_name).name
    square = options["square"] and parse_size(options["square"], units, what="--square")
    allowance = parse_positive(options["allowance"], units, what="--allowance")
    thickness = options["thickness"] and parse_positive(options["thickness"], units, what="--thickness")
    gauged = read_gauge(photo, units, options["minutes"], square, allowance)
    write_files(out.parent, {out.name: gauged.picture})
    for line in gauged.said:
        click.echo(line)
    click.echo(f"{shown(out)}: look at it before you trust these values.")
    if options["keep"] or options["replace"]:
        into = options["kit_file"] or mine_path()
        found = measured_from(gauged.reading, name, options["date"], options["wood"], thickness, photo.name)
        keep_measured(found, into, replacing=options["replace"])
        click.echo(f"kept in {shown(into)} for {name}: later jobs use it.")
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
    from cutout.write.files import write_files

    held = compare_photos(result, photos, units, parse_positive(least, units, what="--least"))
    target = out or Path(f"{photos[0].stem}-compared.png")
    write_files(target.parent, {target.name: held.picture})
    for line in held.said:
        click.echo(line)
    click.echo(f"{shown(target)}: the outline in colour.")
    return NEEDS_USER if held.found.spots else 0


@cli.command(short_help="The same in the browser, on this computer only.")
@click.option("--port", type=click.IntRange(1, 65535), help="Port on 127.0.0.1 [any free one].")
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), help="Where jobs are kept.")
def page(port: int | None, browser: bool, folder: Path | None) -> int:
    """Start the local web page (this computer only) and open it."""
    from cutout.page import serve

    serve(port=port, open_browser=browser, folder=folder)
    return 0


@contextmanager
def _progress() -> Iterator[Progress]:
    """A progress bar on standard error where work lasts over a second; nothing when it is not a terminal."""
    if not sys.stderr.isatty():
        yield lambda stage, done: None
        return
    import time

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


def _say_findings(findings: tuple[Finding, ...], every: bool = False) -> None:
    """Stops one by one, the first few of each kind; things to take care with by kind; all if every is asked for."""
    left = [finding for finding in findings if not finding.cleared]
    groups: dict[tuple[str, str], list[Finding]] = {}
    stops: dict[str, int] = {}
    for finding in left:
        if finding.severity == "stop":
            stops[finding.kind] = stops.get(finding.kind, 0) + 1
            if stops[finding.kind] > STOPS_SHOWN and not every:
                continue
        if finding.severity == "stop" or every:
            mark = "STOP" if finding.severity == "stop" else "care"
            where = f"{finding.kind} at {finding.at[0]:.0f}, {finding.at[1]:.0f} mm"
            click.echo(f"{mark}  {where}: {finding.text}\n      {finding.remedy}")
        else:
            groups.setdefault((finding.kind, finding.remedy), []).append(finding)
    for kind, many in stops.items():
        if many > STOPS_SHOWN and not every:
            click.echo(f"STOP  {kind}: {many - STOPS_SHOWN} more; `cutout check --every` lists them all.")
    for (kind, remedy), several in groups.items():
        count = f" ({len(several)} of them)" if len(several) > 1 else ""
        click.echo(f"care  {kind}{count}: {several[0].text}\n      {remedy}")


def _say_notes(notes: tuple[str, ...]) -> None:
    for note in notes:
        click.echo(f"note  {note}")


def _say_work(work: Work) -> None:
    units, plan = work.units, work.plan
    _say_notes(work.notes)
    x0, y0, x1, y1 = work.pattern.figure.bounds
    blade = work.kit.blade
    click.echo(
        f"silhouette {format_size(x1 - x0, y1 - y0, units)}, {count(len(work.pattern.openings), 'opening')}; "
        f"turning radius {format_length(blade.turning_radius, units)} ({blade.radius_from})"
    )
    if work.eased is not None:
        click.echo(f"eased: the outline moved {format_length(work.eased.max_shift, units)} at most")
    if work.bridges:
        hold = "holds" if len(work.bridges) == 1 else "hold"
        click.echo(f"{count(len(work.bridges), 'bridge')} {hold} pieces that would drop out")
    click.echo(
        f"{count(len(plan.holes), 'hole')}, {count(len(plan.legs), 'leg')}, "
        f"{format_length(plan.cut_length, units)} of cut, about {plan.minutes:.0f} minutes (an estimate); "
        f"{_verdict(work)}"
    )
    cleared = sum(f.cleared for f in work.findings)
    click.echo(f"{_count(work.findings)}" + (f", {cleared} mended." if cleared else "."))


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
