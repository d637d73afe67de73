"""The step output on stand-ins for the chip; on a real chip it is not shown."""

import importlib
import sys
from array import array
from collections.abc import Iterator
from random import Random

import pytest

from bridge.board.motion import Track
from tests.chip import Chip, modules


class Real:
    def __init__(self, chip: Chip, track: Track) -> None:
        self.chip, self.track = chip, track

    def wait(self, us: int) -> None:
        for _ in range(max(1, us // 5000)):
            self.chip.advance(min(us, 5000))
            self.track.feed()

    def settle(self) -> None:
        while not self.track.done:
            self.wait(5000)

    @property
    def net(self) -> int:
        return sum(1 if level else -1 for _, level in self.chip.pulses)


@pytest.fixture
def real(monkeypatch: pytest.MonkeyPatch) -> Iterator[Real]:
    chip = Chip()
    for name, module in modules(chip).items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.delitem(sys.modules, "bridge.board.pulses", raising=False)
    pulses = importlib.import_module("bridge.board.pulses")
    output = pulses.PulseOutput(0, 2, 3, 1)
    yield Real(chip, Track(output, 0, lambda count: array("i", [0] * count)))
    sys.modules.pop("bridge.board.pulses", None)


def test_a_move_longer_than_the_ring_has_every_pulse_on_its_microsecond(real: Real) -> None:
    real.track.go(2600, 3200, 8000)
    real.settle()
    assert (len(real.chip.pulses), real.net, real.track.place) == (2600, 2600, 2600)
    times = [at for at, _ in real.chip.pulses]
    # 640 steps of ramp by v**2 / 2a, 1320 at 3200 a second between.
    assert (times[1900] - times[700]) / 1200 == pytest.approx(1e6 / 3200, rel=0.002)
    assert (times[-1] - times[0]) / 1e6 == pytest.approx(2 * 0.4 + 1320 / 3200 - (2 / 8000) ** 0.5, rel=0.02)


def test_words_and_pulses_agree_through_retargets_stops_and_halts(real: Real) -> None:
    rng = Random(5)
    for _ in range(25):
        match rng.randrange(4):
            case 0:
                real.track.stop(rng.randint(500, 9000))
            case 1:
                place = real.track.halt()
                assert place == real.net
            case _:
                real.track.go(rng.randint(-900, 900), rng.randint(50, 3000), rng.randint(500, 9000))
        real.wait(rng.choice([137, 4000, 60_000, 200_000]))
        assert abs(real.track.place - real.net) <= 1
    real.track.go(-77, 800, 4000)
    real.settle()
    assert real.net == real.track.place == -77
