"""`amptrail serve`: the pages on this machine, and with --workshop for phones beside it."""

from __future__ import annotations

import socket
import sys
from pathlib import Path
from typing import Any

from amptrail.errors import one
from amptrail.web.app import create_app


def lan_address() -> str:
    """This machine's address in its own network (no packet is sent)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        try:
            s.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: only picks the interface
            return str(s.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _certified(tls: bool, given: tuple[str, str] | None) -> tuple[tuple[str, str] | None, Path | None]:
    """Certificate and key to serve with, if any, and the authority that phones are told to trust."""
    if given is not None or not tls:
        for name in given or ():
            if not Path(name).is_file():
                raise one("no-such-file", f"cannot read {name}", remedy="name a certificate, then its key")
        return given, None
    from amptrail.store.where import default_path
    from amptrail.web.certificate import names_of, own

    files = own(default_path().parent / "tls", names_of(lan_address()))
    return (str(files.certificate), str(files.key)), files.authority


def serve(port: int, workshop: bool, tls: bool = False, certificate: tuple[str, str] | None = None) -> int:
    """Run until stopped."""
    import uvicorn

    host = "0.0.0.0" if workshop else "127.0.0.1"
    files, authority = _certified(tls, certificate)
    scheme = "https" if files else "http"
    address = f"{scheme}://{lan_address() if workshop else '127.0.0.1'}:{port}"
    app = create_app(workshop, address)
    app.state.authority = authority
    sys.stderr.write(f"amptrail at {scheme}://127.0.0.1:{port} (Ctrl-C ends it)\n")
    if workshop:
        import segno

        code = app.state.guard.code
        sys.stderr.write(f"phones: {address}  code {code[:4]} {code[4:]}\n")
        segno.make(f"{address}/pair?code={code}", error="l").terminal(out=sys.stderr, compact=True)
    more: dict[str, Any] = {"ssl_certfile": files[0], "ssl_keyfile": files[1]} if files else {}
    uvicorn.run(app, host=host, port=port, log_level="warning", timeout_graceful_shutdown=2, **more)
    return 0
