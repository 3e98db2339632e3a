"""The client that never waits, with servers that come and go."""

import asyncio
import sys
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from control_rig import PATIENCE_S, STATUS, Fake, serving
from ripieno.errors import AuthorError, MachineError
from ripieno.host.control import LIMITS
from ripieno.link.async_client import AsyncClient, Lost
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.wire.status import Status

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")

AGAIN_S = 0.001


def with_client(endpoint: Endpoint, act: Callable[[AsyncClient], Awaitable[None]]) -> None:
    async def run() -> None:
        async with asyncio.timeout(PATIENCE_S), AsyncClient(endpoint, AGAIN_S) as client:
            await act(client)

    asyncio.run(run())


async def until(client: AsyncClient, wanted: Callable[[Status | Lost], bool]) -> Status | Lost:
    """What is seen once it is as wanted."""
    if wanted(client.seen):
        return client.seen
    async for seen in client.news():
        if wanted(seen):
            return seen
    raise AssertionError


def is_status(seen: Status | Lost) -> bool:
    return isinstance(seen, Status)


@pytest.mark.parametrize("kind", Kind)
def test_it_sees_the_status_and_its_changes(tmp_path: Path, kind: Kind) -> None:
    async def act(client: AsyncClient) -> None:
        assert await until(client, is_status) == STATUS
        assert await client.tell(["tempo", "100"]) == {"bpm": 100.0}
        assert await until(client, lambda seen: seen.bpm == 100.0) == replace(STATUS, bpm=100.0)

    with serving(tmp_path, kind=kind) as served:
        with_client(served.endpoint, act)


def test_several_requests_at_once_get_each_its_own_answer(tmp_path: Path) -> None:
    async def act(client: AsyncClient) -> None:
        await until(client, is_status)
        tempos = range(100, 150)
        answers = await asyncio.gather(*(client.tell(["tempo", str(bpm)]) for bpm in tempos))
        assert answers == [{"bpm": float(bpm)} for bpm in tempos]

    with serving(tmp_path) as served:
        with_client(served.endpoint, act)


def test_a_refusal_is_an_error_and_the_connection_goes_on(tmp_path: Path) -> None:
    async def act(client: AsyncClient) -> None:
        await until(client, is_status)
        with pytest.raises(AuthorError, match="did you mean tempo"):
            await client.tell(["tempi"])
        with pytest.raises(AuthorError, match="at most 65536"):
            await client.tell(["x" * 70_000])
        assert await client.tell(["tap"]) == {"told": ["tap"]}

    with serving(tmp_path) as served:
        with_client(served.endpoint, act)


def test_without_a_daemon_it_says_why_and_telling_is_refused_at_once(tmp_path: Path) -> None:
    async def act(client: AsyncClient) -> None:
        why = "no daemon is running; start one with 'ripieno serve'"
        assert await until(client, lambda seen: "not connected" not in seen.why) == Lost(why)
        with pytest.raises(MachineError, match="no daemon is running"):
            await client.tell(["tap"])

    with_client(Endpoint(tmp_path / "run", Kind.UNIX), act)


@pytest.mark.parametrize("kind", Kind)
def test_it_finds_a_daemon_that_begins_ends_and_begins_again(tmp_path: Path, kind: Kind) -> None:
    async def act(client: AsyncClient) -> None:
        for bpm in (90.0, 91.0):
            with serving(tmp_path, Fake(now=replace(STATUS, bpm=bpm)), kind):
                seen = await until(client, lambda s: is_status(s) and s.bpm == bpm)  # noqa: B023
                assert seen == replace(STATUS, bpm=bpm)
                assert await client.tell(["tap"]) == {"told": ["tap"]}
            assert isinstance(await until(client, lambda seen: not is_status(seen)), Lost)

    with_client(Endpoint(tmp_path / "run", kind), act)


def test_who_waits_for_an_answer_when_the_daemon_ends_is_told(tmp_path: Path) -> None:
    async def act(client: AsyncClient) -> None:
        with serving(tmp_path) as served:
            await until(client, is_status)
            asked = asyncio.create_task(client.tell(["tap"]))
            await asyncio.sleep(0)  # it has asked; this thread reads nothing before the end
            served.server.close()
        try:
            assert await asked == {"told": ["tap"]}
        except MachineError as error:
            assert "has closed the connection" in str(error)  # noqa: PT017 - either may be first

    with_client(Endpoint(tmp_path / "run", Kind.UNIX), act)


def test_who_looks_seldom_sees_the_newest(tmp_path: Path) -> None:
    class Moving(Fake):
        def status(self) -> Status:
            self.now = replace(self.now, restarts=self.now.restarts + 1)
            return self.now

    async def act(client: AsyncClient) -> None:
        numbers = []
        async for seen in client.news():
            if is_status(seen):
                numbers.append(seen.restarts)
                for _ in range(20):
                    await client.tell(["tap"])
            if len(numbers) == 20:
                break
        assert numbers == sorted(set(numbers))
        assert numbers[-1] - numbers[0] > 2 * len(numbers)

    with serving(tmp_path, Moving(), limits=replace(LIMITS, pushes_s=0.0)) as served:
        with_client(served.endpoint, act)
