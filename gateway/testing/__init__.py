"""For tests of client programs and catalogues: a gateway, a line to it and far servers, as pytest fixtures.

`plugin.py` has the fixtures; each gives one of the classes that tests may name in annotations:

    headrace_gateway   gateways.Gateways            a gateway on a free port of loopback
    headrace_client    clients.client.Clients       a line to one, perhaps a slow one
    headrace_upstream  upstream.server.Upstreams    a far server that says what the test wants
    headrace_site      sites.Sites                  a folder of recordings

`stage.Stage` holds all four, for fixtures of another scope. Nothing here is imported before it is used.
"""
