"""The contract of adapters with documents and folders, against real servers: WsgiDAV, Apache httpd's mod_dav,
nginx with its dav and dav-ext modules, lighttpd's mod_webdav, of PyPI and Debian 12.
"""

from collections.abc import AsyncIterator, Iterator

import pytest

from tests.adapters.dav.servers import DavStand, any_name, clean_name, shown_name, stand_of, text_name
from tests.adapters.file_contract import FarFileContract
from tests.adapters.web_servers import WebServer, apache, lighttpd, nginx, served_folder, wsgidav


@pytest.fixture(scope="module")
def wsgidav_server() -> Iterator[WebServer]:
    with served_folder() as folder, wsgidav(folder) as server:
        yield server


class TestWsgiDav(FarFileContract):
    @pytest.fixture
    async def stand(self, wsgidav_server: WebServer) -> AsyncIterator[DavStand]:
        async with stand_of(wsgidav_server, text_name) as stand:
            yield stand


@pytest.fixture(scope="module")
def apache_server() -> Iterator[WebServer]:
    with served_folder() as folder, apache(folder) as server:
        yield server


class TestApache(FarFileContract):
    @pytest.fixture
    async def stand(self, apache_server: WebServer) -> AsyncIterator[DavStand]:
        async with stand_of(apache_server, any_name) as stand:
            yield stand


@pytest.fixture(scope="module")
def nginx_server() -> Iterator[WebServer]:
    with served_folder() as folder, nginx(folder) as server:
        yield server


class TestNginx(FarFileContract):
    @pytest.fixture
    async def stand(self, nginx_server: WebServer) -> AsyncIterator[DavStand]:
        async with stand_of(nginx_server, shown_name) as stand:
            yield stand


@pytest.fixture(scope="module")
def lighttpd_server() -> Iterator[WebServer]:
    with served_folder() as folder, lighttpd(folder) as server:
        yield server


class TestLighttpd(FarFileContract):
    @pytest.fixture
    async def stand(self, lighttpd_server: WebServer) -> AsyncIterator[DavStand]:
        async with stand_of(lighttpd_server, clean_name) as stand:
            yield stand
