"""Set-Cookie of one redirect -> Cookie of the next (RFC 6265): they live for one chain and are then gone."""

from typing import Final

import httpx

_ENCODING: Final = "iso-8859-1"  # a cookie goes back byte for byte, whatever it holds


class ChainCookies:
    """An empty jar for each fetch. Which cookie goes where is decided by Python's http.cookiejar."""

    def __init__(self) -> None:
        self._jar: httpx.Cookies | None = None  # made when needed: a fetch rarely has any

    def keep(self, url: httpx.URL, fields: list[tuple[bytes, bytes]]) -> None:
        """Remember what an answer from `url` sets."""
        if not any(name.lower() == b"set-cookie" for name, _ in fields):
            return
        if self._jar is None:
            self._jar = httpx.Cookies()
        response = httpx.Response(200, headers=fields, request=httpx.Request("GET", url))
        response.headers.encoding = _ENCODING
        self._jar.extract_cookies(response)

    def header(self, url: httpx.URL) -> str:
        """The Cookie field's value for a request to `url`, a character for each byte, or nothing."""
        if self._jar is None:
            return ""
        request = httpx.Request("GET", url)
        request.headers.encoding = _ENCODING
        self._jar.set_cookie_header(request)
        return str(request.headers.get("cookie", ""))
