"""A TCP port of an instrument that can be unplugged: connections end, and nobody listens until it is plugged in again."""

import contextlib
import socket
import threading


class Listening:
    """Serves each connection with ``talk(connection)`` in a thread; ``most``: so many connections at a time, others are closed."""

    def __init__(self, talk, most=None):
        self._talk, self._most = talk, most
        self.port, self.refused = 0, 0
        self._open, self._lock = set(), threading.Lock()
        self.plug()

    def plug(self):
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def unplug(self):
        for each in [self._listener, *list(self._open)]:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    close = unplug

    def _accept(self, listener):
        with contextlib.suppress(OSError):
            while True:
                connection, _ = listener.accept()
                with self._lock:
                    if self._most is not None and len(self._open) >= self._most:
                        self.refused += 1
                        connection.close()
                        continue
                    self._open.add(connection)
                threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection):
        try:
            with contextlib.suppress(OSError, ConnectionError), connection:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._talk(connection)
        finally:
            with self._lock:
                self._open.discard(connection)

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()
