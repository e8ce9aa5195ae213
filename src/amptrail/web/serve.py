"""`amptrail serve`: the pages on this machine, and with --workshop for phones beside it."""

from __future__ import annotations

import socket
import sys
from typing import Any

from amptrail.web.app import create_app


def lan_address() -> str:
    """This machine's address in its own network (no packet is sent)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        try:
            s.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: only picks the interface
            return str(s.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def serve(port: int, workshop: bool, tls: tuple[str, str] | None = None) -> int:
    """Run until stopped."""
    import uvicorn

    host = "0.0.0.0" if workshop else "127.0.0.1"
    scheme = "https" if tls else "http"
    address = f"{scheme}://{lan_address() if workshop else '127.0.0.1'}:{port}"
    app = create_app(workshop, address)
    sys.stderr.write(f"amptrail at {scheme}://127.0.0.1:{port}\n")
    if workshop:
        import segno

        code = app.state.guard.code
        sys.stderr.write(f"phones: {address}  code {code[:4]} {code[4:]}\n")
        segno.make(f"{address}/pair?code={code}", error="l").terminal(out=sys.stderr, compact=True)
    more: dict[str, Any] = {"ssl_certfile": tls[0], "ssl_keyfile": tls[1]} if tls else {}
    uvicorn.run(app, host=host, port=port, log_level="warning", timeout_graceful_shutdown=2, **more)
    return 0
