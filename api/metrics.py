"""What the service counts of itself, in Prometheus' text format 0.0.4."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Mapping

BUCKETS_S = (0.005, 0.01, 0.025, 0.06, 0.15, 0.5, 1.0, 5.0)
"""Upper edges of the answer-time histogram [s]; 60 and 150 ms are the service's own targets."""

Labels = tuple[tuple[str, str], ...]


class Metrics:
    """Counts requests; gauges are handed in when the text is written."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._requests: dict[Labels, int] = defaultdict(int)
        self._buckets: dict[str, list[int]] = defaultdict(lambda: [0] * (len(BUCKETS_S) + 1))
        self._seconds: dict[str, float] = defaultdict(float)

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one answered request."""
        with self._lock:
            self._requests[("method", method), ("route", route), ("status", str(status))] += 1
            place = next((i for i, edge in enumerate(BUCKETS_S) if seconds <= edge), len(BUCKETS_S))
            self._buckets[route][place] += 1
            self._seconds[route] += seconds

    def text(self, gauges: Mapping[str, tuple[str, float]]) -> str:
        """The exposition: name → (help, value) for the gauges."""
        lines = ["# HELP kilnrota_requests_total Requests answered.", "# TYPE kilnrota_requests_total counter"]
        with self._lock:
            for labels, number in sorted(self._requests.items()):
                lines.append(f"kilnrota_requests_total{_labels(labels)} {number}")
            name = "kilnrota_request_seconds"
            lines += [f"# HELP {name} Time to answer a request.", f"# TYPE {name} histogram"]
            for route, counts in sorted(self._buckets.items()):
                total = 0
                for edge, number in zip((*map(str, BUCKETS_S), "+Inf"), counts, strict=True):
                    total += number
                    lines.append(f"{name}_bucket{_labels((('route', route), ('le', edge)))} {total}")
                lines.append(f"{name}_sum{_labels((('route', route),))} {self._seconds[route]:.6f}")
                lines.append(f"{name}_count{_labels((('route', route),))} {total}")
        for gauge, (meaning, value) in gauges.items():
            lines += [f"# HELP {gauge} {meaning}", f"# TYPE {gauge} gauge", f"{gauge} {value:g}"]
        return "\n".join(lines) + "\n"


def _labels(labels: Labels) -> str:
    quoted = (f'{key}="{_escaped(value)}"' for key, value in labels)
    return "{" + ",".join(quoted) + "}"


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
