"""a gateway's counts -> numbers for Prometheus, in its text format."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector


@dataclass(frozen=True, slots=True)
class Number:
    """One of them. `read` gives its value now, or, where it has a `label`, the value for each of that; it is
    called on another thread. `counts`: it only grows.
    """

    name: str
    about: str
    read: Callable[[], float | Mapping[str, float]]
    label: str = ""
    counts: bool = False


class _Numbers(Collector):
    """Read in another thread than they change in, which does whole numbers no harm."""

    def __init__(self, numbers: Iterable[Number]) -> None:
        self._numbers = tuple(numbers)

    def collect(self) -> Iterator[Metric]:
        """Every number there is."""
        for each in self._numbers:
            made = (CounterMetricFamily if each.counts else GaugeMetricFamily)(
                f"headrace_{each.name}", each.about, labels=[each.label] if each.label else []
            )
            value = each.read()
            values = dict(value) if isinstance(value, Mapping) else {"": value}
            for label, number in values.items():
                made.add_metric([label] if each.label else [], number)
            yield made


def registry(numbers: Iterable[Number]) -> CollectorRegistry:
    """What prometheus_client prints: these, and what it finds in /proc about the process."""
    made = CollectorRegistry()
    made.register(_Numbers(numbers))
    ProcessCollector(registry=made)
    return made
