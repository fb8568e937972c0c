"""Recording time: unmoved by a stepping wall clock, anchored anew after sleep."""

from collector.clock import Clock

SECOND = 1_000_000_000


class Times:
    """Wall, monotonic and since-boot time that are set by hand."""

    def __init__(self) -> None:
        self.wall, self.monotonic, self.boot = 1_000 * SECOND, 50 * SECOND, 60 * SECOND

    def clock(self) -> Clock:
        return Clock(wall=lambda: self.wall, monotonic=lambda: self.monotonic, since_boot=lambda: self.boot)

    def pass_(self, seconds: int) -> None:
        self.wall += seconds * SECOND
        self.monotonic += seconds * SECOND
        self.boot += seconds * SECOND


def test_time_goes_on():
    times = Times()
    clock = times.clock()
    times.pass_(5)
    assert clock() == 1_005 * SECOND
    assert clock.woke() == 0


def test_a_wall_clock_that_steps_moves_nothing():
    times = Times()
    clock = times.clock()
    times.pass_(5)
    times.wall -= 3600 * SECOND
    assert clock.woke() == 0
    assert clock() == 1_005 * SECOND


def test_after_sleep_it_is_anchored_anew():
    times = Times()
    clock = times.clock()
    times.wall += 600 * SECOND
    times.boot += 600 * SECOND
    assert clock() == 1_000 * SECOND
    assert clock.woke() == 600
    assert clock() == 1_600 * SECOND
    assert clock.woke() == 0
