"""Serves the pages on this machine only: Django's own threaded server, one port, ended by Ctrl-C."""

import os
import sys
from typing import Any

from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler

ADDRESS = "127.0.0.1"


class PortInUse(Exception):
    """Another program answers on the port."""


class _Server(ThreadedWSGIServer):
    # On Windows "reuse" would let two programs share a port; elsewhere it only skips the wait after a restart.
    allow_reuse_address = os.name != "nt"
    daemon_threads = True


class _QuietHandler(WSGIRequestHandler):
    """Says nothing about requests that went well."""

    def log_message(self, format: str, *args: Any) -> None:
        if len(args) > 1 and str(args[1]).startswith("5"):
            sys.stderr.write(f"{self.log_date_time_string()} {format % args}\n")


def server_open(port: int) -> ThreadedWSGIServer:
    """Take the port now, before the long work begins; 0 takes any free one. Raises PortInUse."""
    try:
        return _Server((ADDRESS, port), _QuietHandler)
    except (OSError, OverflowError) as error:
        raise PortInUse(
            f"Port {port} on {ADDRESS} cannot be used: another program has it, or it is not allowed. "
            "Name another with --port."
        ) from error


def serve_until_stopped(server: ThreadedWSGIServer) -> None:
    """Answer requests until Ctrl-C."""
    from config.wsgi import application

    server.set_app(application)
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        pass
    finally:
        server.server_close()
