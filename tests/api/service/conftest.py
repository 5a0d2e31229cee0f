"""Each test gets a service of its own; with KILNROTA_TEST_POSTGRES it runs on PostgreSQL too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.service.house import DATABASES, House, Template, running, template


@pytest.fixture(scope="session", params=DATABASES)
def settled(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Template]:
    """A settled database, one a kind."""
    with template(request.param, tmp_path_factory.mktemp("template")) as made:
        yield made


@pytest.fixture
def house(settled: Template, tmp_path: Path) -> Iterator[House]:
    """A running service with the small studio and its people."""
    with settled.copy(tmp_path) as data, running(data, settled.tokens) as made:
        yield made
