"""What must never happen while a page is open: a request to elsewhere, an error in the console, a broken policy."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, ConsoleMessage, Request, Response, WebError

LISTEN = """
addEventListener("securitypolicyviolation", (event) =>
  console.error(`content policy broken: ${event.effectiveDirective} ${event.blockedURI}`));
"""
"""Chromium also writes a broken policy to the console itself; both are heard."""

REFUSED = "Failed to load resource: the server responded with a status of 4"


@dataclass(kw_only=True)
class Watch:
    """Hears everything that the pages of one context ask for and complain of; the driver hangs attributes on it."""

    base_url: str
    faults: list[str] = field(default_factory=list)

    def over(self, context: BrowserContext) -> None:
        """Begin to listen."""
        context.add_init_script(LISTEN)
        context.on("request", self.requested)
        context.on("response", self.answered)
        context.on("console", self.spoken)
        context.on("weberror", self.broken)

    def requested(self, request: Request) -> None:
        """Note a request that leaves the server."""
        asked, own = urlsplit(request.url), urlsplit(self.base_url)
        if (asked.scheme, asked.netloc) != (own.scheme, own.netloc):
            self.faults.append(f"a request left the server: {request.method} {request.url}")

    def answered(self, response: Response) -> None:
        """Note a fault of the server, and whatever a page needs and does not get."""
        page = response.request.is_navigation_request()
        if response.status >= 500 or (response.status >= 400 and not page):
            self.faults.append(f"{response.status}: {response.url}")

    def spoken(self, message: ConsoleMessage) -> None:
        """Note warnings and errors of the console; what the server refused is noted, or let be, by `answered`."""
        if message.type in {"error", "warning"} and not message.text.startswith(REFUSED):
            self.faults.append(f"console {message.type}: {message.text}")

    def broken(self, error: WebError) -> None:
        """Note an exception of a script."""
        self.faults.append(f"script: {error.error}")

    def calm(self) -> None:
        """Fail when anything was noted, and forget it."""
        noted, self.faults = self.faults, []
        assert not noted, "\n".join(noted)
