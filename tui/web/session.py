"""One run of the screens for one visitor: what it is told at its start, and files that it hands to the page."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from textual_serve.app_service import AppService

LEAVING_SECONDS = 10
PIPES_CLOSE_IN = 5
"""Turns of the loop after which the pipes of a process that has ended are closed too."""


class Session(AppService):
    """One run of the screens for one visitor, told what was served; `place` is the address of its visit."""

    around: Mapping[str, str] = {}
    place = ""

    def _build_environment(self, width: int = 80, height: int = 24) -> dict[str, str]:
        return {**super()._build_environment(width, height), **self.around}

    async def on_meta(self, data: bytes) -> None:
        """Hear what the screens say beside their picture; a file is fetched by the page from behind its own path.

        The address of a download leads nowhere else: the page stays as it is, and no window is opened.
        """
        said = json.loads(data)
        if said.get("type") != "deliver_file_start":
            await super().on_meta(data)
            return
        await self._download_manager.create_download(
            app_service=self,
            delivery_key=str(said["key"]),
            file_name=Path(str(said["path"])).name,
            open_method="download",
            mime_type=str(said["mime_type"]),
            encoding=None,
            name=said.get("name"),
        )
        url = f"{self.place}download/{said['key']}"
        await self.remote_write_str(json.dumps(["open_url", {"url": url, "new_tab": False}]))

    async def finish(self) -> None:
        """Have the screens end, and end their process where it does not do so by itself."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self.stop(), LEAVING_SECONDS)
        process = self._process
        if process is None:
            return
        try:
            await asyncio.wait_for(process.wait(), LEAVING_SECONDS)
        except TimeoutError:
            process.kill()
            await process.wait()
        if process.stdin is not None:
            process.stdin.close()
        for _ in range(PIPES_CLOSE_IN):
            await asyncio.sleep(0)
