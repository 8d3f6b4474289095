"""Play: the bass live, to chords as they come in.

Knows: which ports, clock, chart and onlookers a performance is put together from.
Refuses to know: music, and how any of them works.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from random import Random
from typing import Final, Unpack

import click

from engine.bassist import Bassist
from engine.events import Beat, Incoming, NoteOn, Outgoing, Stop, Tick
from engine.pulse import FASTEST
from engine.style import Style
from engine.theory.meter import FOUR_FOUR
from ports import rehearsal
from ports.booking import Asked, booked
from ports.clock import SystemClock
from ports.commands.audience import looking_on, preset_to_watch, recording, taking_up
from ports.commands.venue import first_chord_at, port_for, script_for
from ports.commands.words import cut_to_fit, heading_of, summary
from ports.echo import Echo
from ports.loop import LoopPort
from ports.onlookers import Onlookers
from ports.options import (
    BEND_OPTION,
    FILE,
    GRADE_OPTION,
    PRESET_OPTION,
    SEED_OPTION,
    hearing_options,
    port_name,
    tempo_or,
    whole,
)
from ports.port import PortLost
from ports.replay import replay as run_replay
from ports.service import Service
from ports.tally import Tally
from ports.watch import Watched, watching

EXAMPLES: Final = """\b
Examples:
  groundling play --tempo 92 --count-in 1
  groundling play --clock external --preset walking
  groundling play --in "Stage Piano" --out "Synth" --channel 2
  groundling play --rehearse --bars 16 --quiet
  groundling play --preset walking --grade 3
"""


@click.command(epilog=EXAMPLES, short_help="Play bass to chords as they come in.")
@PRESET_OPTION
@GRADE_OPTION
@click.option(
    "--tempo", callback=tempo_or(), metavar="BPM",
    help="Quarter notes a minute, whatever the metre; bar 1 begins with your first chord."
    "  [default: the chart's, or what you tap on one key above middle C, a bar of equal beats long,"
    " or 100]",
)  # fmt: skip
@click.option(
    "--clock", type=click.Choice(["internal", "external"]), default="internal", show_default=True,
    help="external follows the MIDI clock of a sequencer or DAW, and begins when that starts.",
)  # fmt: skip
@click.option(
    "--count-in", callback=whole(0, 8), default="0", metavar="BARS",
    help="Count so many bars, up to 8, before bar 1 (internal clock).",
)  # fmt: skip
@click.option(
    "--in", "source", callback=port_name, metavar="NAME",
    help="Listen to this port instead of our own.",
)  # fmt: skip
@click.option(
    "--out", "target", callback=port_name, metavar="NAME",
    help="Send to this port instead of our own.",
)  # fmt: skip
@click.option(
    "--channel", callback=whole(1, 16), default="1", show_default=True, metavar="N",
    help="The MIDI channel of the bass.",
)  # fmt: skip
@BEND_OPTION
@click.option(
    "--pocket", callback=whole(0, 60), default="25", show_default=True, metavar="MS",
    help="How long a note on a change in doubt may wait for your keys, up to 60: sooner, or surer.",
)  # fmt: skip
@hearing_options
@SEED_OPTION
@click.option("--rehearse", is_flag=True, help="Play to a built-in keyboard player, without ports.")
@click.option("--bars", callback=whole(1, 9999), metavar="N", help="Stop after so many bars.")
@click.option(
    "--trace", type=FILE, metavar="TRACE.jsonl",
    help="Write what was heard, expected and played, for explain to read.",
)  # fmt: skip
@click.option("--quiet", is_flag=True, help="Only the summary at the end.")
def play(
    *,
    tempo: float | None,
    clock: str,
    count_in: int,
    source: str | None,
    target: str | None,
    channel: int,
    pocket: int,
    rehearse: bool,
    bars: int | None,
    trace: Path | None,
    quiet: bool,
    **asked: Unpack[Asked],
) -> None:
    """Play bass to chords as they come in, until Ctrl-C.

    Opens the ports "groundling chords" and "groundling bass"; connect a keyboard to the first and
    an instrument to the second.  On Windows name existing ports with --in and --out.  Where there
    is no MIDI system it plays the built-in rehearsal.  A preset file of your own is watched: save
    it while playing, and the change is heard at the next bar.
    """
    external = clock == "external"
    _check_together(
        external=external, rehearse=rehearse, ports=source or target, tempo=tempo, count_in=count_in
    )
    watched = preset_to_watch(asked["preset"])
    booking = booked(**asked)
    booking.spare(trace)
    taps = not (tempo or booking.charted_tempo or external or count_in) and booking.hears_taps
    style, tempo, metre = booking.style, tempo or booking.tempo, booking.metre
    _warm_up(style)
    system = SystemClock()
    with ExitStack() as unless_it_begins:
        port = port_for(system, source, target, rehearse=rehearse)
        unless_it_begins.callback(port.close)
        script: tuple[Incoming, ...] = ()
        if isinstance(port, LoopPort):
            external, taps, metre, bars = False, False, FOUR_FOUR, bars or rehearsal.BARS
            script = script_for(tempo, booking, bars)
        bassist = booking.bassist(
            tempo=tempo, external_clock=external, count_in=count_in, metre=metre,
            pocket=pocket / 1000, taps=taps,
        )  # fmt: skip
        tally = Tally(sent_early=booking.lead > 0)
        heading = (
            None if quiet else heading_of(style, metre, None if external else tempo, taps=taps)
        )
        onlookers = looking_on(
            [tally, *recording(trace, booking)], heading, style, external=external
        )
        unless_it_begins.callback(onlookers.close)
        port.tell = onlookers.say
        echo = Echo(channel - 1, onlookers.say)
        service = Service(
            bassist, port, system,
            on_outgoing=echo.showing(onlookers.show), stop_when=_stop_after(bars),
            channel=channel - 1, heeds=echo.heeding(booking.heeds), bend_range=booking.bend,
        )  # fmt: skip
        unless_it_begins.pop_all()  # what the service and its audience leave in their own order
    if metre not in style.metres:
        onlookers.say(cut_to_fit(style, metre))
    if not external:
        port.inbox.put(Tick(system.now()))  # begins the count-in, where there is one
    if isinstance(port, LoopPort):
        port.play(script, first_chord_at(system, tempo, count_in))
    lost = _perform(service, onlookers, watched)
    _say_at_last(summary(tally, service.report(), booking.seed))
    if lost is not None:
        raise lost


def _perform(service: Service, onlookers: Onlookers, watched: Watched | None) -> PortLost | None:
    """Play to the end, and tell how it ended if the MIDI system went away."""
    try:
        with watching(watched, taking_up(service, onlookers)):
            service.run()
    except PortLost as error:
        return error
    finally:
        onlookers.close()
    return None


def _say_at_last(sentence: str) -> None:
    """Say it if somebody is still there: who closes the screen has ended it, and that is no fault.

    What cannot go out is given up, or it would be tried once more as the program leaves.
    """
    try:
        click.echo(sentence)
    except OSError:
        sys.stdout = None  # as where none was open from the start


def _check_together(
    *, external: bool, rehearse: bool, ports: str | None, tempo: float | None, count_in: int
) -> None:
    if rehearse and (external or ports):
        raise click.UsageError(
            "--rehearse brings its own player and beat; leave out --clock external, --in and --out"
        )
    if external and count_in:
        raise click.UsageError("--count-in goes with the internal clock; the sequencer counts")
    if external and tempo:
        raise click.UsageError("--tempo goes with the internal clock; the sequencer sets the pace")


def _warm_up(style: Style) -> None:
    """Play two beats to nobody: what is done for the first time is slow, and the first note is not.

    Tables are unpacked, caches filled and code loaded before a port is there to be played on.
    """
    bassist = Bassist(style, Random(0), tempo=FASTEST)
    keys = [NoteOn(0.0, note) for note in (39, 55, 58, 63)]
    run_replay(bassist, [*keys, Stop(0.5)], lambda _: None)


def _stop_after(bars: int | None) -> Callable[[Outgoing], bool] | None:
    """When so many bars have been played, whatever their numbers: after a rest they begin anew."""
    if bars is None:
        return None
    begun = 0

    def over(outgoing: Outgoing) -> bool:
        nonlocal begun
        if isinstance(outgoing, Beat) and outgoing.count == 1 and outgoing.bar > 0:
            begun += 1
        return begun > bars

    return over
