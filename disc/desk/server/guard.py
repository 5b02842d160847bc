"""Who may speak to the desk: this machine, this user, this page.

The server listens on 127.0.0.1 alone. Every request must name it as its Host (so that no other site's name can be bent
to it), must come from its own page where it names an Origin, and must bring the key that `disc desk` put into the
address it opened (so that another user of the same machine is kept out). The key moves at once into a cookie that
scripts cannot read. Requests that change something must also carry a heading that only the page's own script can set.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

HOSTS = ("127.0.0.1", "localhost")
PAGE_HEADING = "X-Desk"

# Nothing is loaded from anywhere but this server; blob: is for pictures and sound made in the page.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; media-src 'self' blob:; "
    "connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADINGS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(slots=True)
class Guard:
    """The rules for one running desk."""

    port: int
    key: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    @property
    def cookie_name(self) -> str:
        """The cookie's name; cookies are shared by all ports of a host, so the port is part of it."""
        return f"disc_desk_{self.port}"

    @property
    def address(self) -> str:
        """Where the page is, without the key."""
        return f"http://127.0.0.1:{self.port}/"

    @property
    def first_address(self) -> str:
        """Where the browser is sent first: with the key."""
        return f"{self.address}?key={self.key}"

    def host_fault(self, host: str) -> str | None:
        """Why this Host is refused; None if it is right."""
        if host in {f"{name}:{self.port}" for name in HOSTS}:
            return None
        return "this desk answers only to its own address on this machine"

    def origin_fault(self, origin: str | None, host: str) -> str | None:
        """Why this Origin is refused; None if it is absent or the page itself."""
        return None if origin is None or origin == f"http://{host}" else "another page may not speak to this desk"

    def is_key(self, given: str | None) -> bool:
        """Whether this is the desk's key."""
        return given is not None and hmac.compare_digest(given.encode(), self.key.encode())
