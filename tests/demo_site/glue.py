"""The demo site behind pytest-httpserver: what the served demo answers, a test server answers too."""

import re

from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from demo_site.messages import SiteRequest
from demo_site.site import Site


def attach(server: HTTPServer, site: Site | None = None) -> Site:
    """Have `server` answer everything that it has no other handler for as the site does; returns the site."""
    town = site if site is not None else Site()

    def answer(request: Request) -> Response:
        answered = town.respond(
            SiteRequest(
                method=request.method,
                path=request.path,
                query=request.query_string.decode("latin-1"),
                headers=tuple(request.headers.items()),
                body=request.get_data(),
            )
        )
        # A list of one, because a plain body would replace the Content-Length that HEAD's answer has.
        return Response([answered.body], answered.status, list(answered.headers))

    server.expect_request(re.compile("")).respond_with_handler(answer)
    return town
