"""Working out what a gauge of the hub sends, while somebody looks on at the screen."""

from __future__ import annotations

import asyncio
import itertools
import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink.daemon import messages as m
from gaugelink.daemon.gauges import Gauge
from gaugelink.devices import catalog, links
from gaugelink.devices.description import Description
from gaugelink.reading import GaugelinkError

if TYPE_CHECKING:
    from gaugelink.devices.teaching.finding import Finding

log = logging.getLogger(__name__)

NO_FOLDER = "no folder for descriptions of one's own is known to this hub: nothing was kept"


class Lessons:
    """The teaching that goes on, at most one of each gauge."""

    def __init__(
        self,
        tasks: asyncio.TaskGroup,
        open_link: links.OpenLink,
        tell: Callable[[m.Event], None],
    ) -> None:
        self._tasks = tasks
        self._open_link = open_link
        self._tell = tell
        self._going_on: dict[Gauge, asyncio.Task[None]] = {}
        self._closed = False

    def going_on(self, gauge: Gauge) -> bool:
        """Whether the gauge is being taught."""
        return gauge in self._going_on

    def begin(
        self, gauge: Gauge, seconds: float, folder: Path | None, afterwards: Callable[[], None]
    ) -> None:
        """Teach a gauge whose port has been let go; `afterwards` takes it up again.

        A name is proposed that no description in the `folder` has.
        """
        self._going_on[gauge] = self._tasks.create_task(
            self._teach(gauge, seconds, folder, afterwards)
        )

    async def _teach(
        self, gauge: Gauge, seconds: float, folder: Path | None, afterwards: Callable[[], None]
    ) -> None:
        from gaugelink.devices.teaching.listening import Teacher

        # Its name may be changed meanwhile.
        def say(text: str) -> None:
            self._tell(m.TeachingEvent(gauge.name, text))

        try:
            open_link = gauge.overhearing(self._open_link)
            finding = await Teacher(gauge.port, open_link, say, seconds=seconds).teach()
            answer = await asyncio.to_thread(_taught, gauge.name, finding, folder)
        except GaugelinkError as error:
            answer = m.Taught(gauge.name, failed=str(error))
        except Exception as error:
            # The hub goes on, whatever an indicator has sent.
            log.exception("teaching %r failed", gauge.name)
            answer = m.Taught(gauge.name, failed=f"it failed: {error!r}; report it")
        finally:
            del self._going_on[gauge]
            if not self._closed:
                afterwards()
        self._tell(answer)

    async def end(self, gauge: Gauge) -> None:
        """Leave off teaching a gauge, if it is being taught."""
        task = self._going_on.get(gauge)
        if task is not None:
            task.cancel()
            await asyncio.wait([task])

    def close(self) -> None:
        """Leave off all teaching; no gauge is taken up again."""
        self._closed = True
        for task in self._going_on.values():
            task.cancel()

    async def keep(self, folder: Path | None, name: str, toml: str) -> Description:
        """Write a description into the user's folder, once it is known to be one."""
        from gaugelink.devices.teaching import keeping
        from gaugelink.devices.teaching.writing import written

        if folder is None:
            raise GaugelinkError(NO_FOLDER)
        keeping.check_name(name)
        described = keeping.renamed(catalog.parse(toml, f"description {name!r}"), name)
        comments = itertools.takewhile(lambda line: line.startswith("#"), toml.splitlines())
        text = "\n".join([*comments, "", written(described, [])])
        await asyncio.to_thread(keeping.keep, folder, name, text)
        return described


def _taught(gauge: str, finding: Finding, folder: Path | None) -> m.Taught:
    """A finding as the protocol says it."""
    from gaugelink.devices.teaching.keeping import reasons, text_of, unused, usual_name

    def named(described: Description) -> str:
        usual = usual_name(described)
        return usual if folder is None else unused(folder, usual)

    return m.Taught(
        gauge,
        name=named(finding.description),
        toml=text_of(finding, finding.description),
        evidence=tuple(reasons(finding, answered=True)),
        sure=finding.sure,
        question=finding.question or "",
        answers=tuple(
            m.TaughtAnswer(says, text_of(finding, each, answered=True), named(each))
            for says, each in finding.alternatives or []
        ),
    )
