"""Ways to write a path that leads out of a folder on the gateway's own disk."""

from tests.attacks.attack import Attack, asking

_PATHS = "CWE-22; OWASP Path Traversal"
_LINKS = "CWE-59; CWE-61"
_RACES = "CWE-367; CWE-362"
_CHANGES = f"{_PATHS}; CONTRACT section 3"


def _path(name: str, ref: str, reply: str, source: str = _PATHS, *, target: str = "paths") -> Attack:
    """READ of a path below the place."""
    request = f"READ {ref}"
    return Attack(
        name,
        target,
        source,
        f"`{request}`" if len(request) < 80 else f"`{request[:60]}...`",
        reply,
        asking(request),
        served=True,
    )


PATHS = (
    _path("dots", "disk:../outside/secret.txt", "550 Not there"),
    _path("dots in the middle", "disk:a/../../outside/secret.txt", "550 Not there"),
    _path("dots to a folder that begins the same", "disk:../disk-of-others/secret.txt", "550 Not there"),
    _path("an absolute path", "disk:/etc/passwd", "550 Not there"),
    _path("two slashes", "disk://etc/passwd", "550 Not there"),
    _path("encoded dots", "disk:%2e%2e/outside/secret.txt", "550 Not there"),
    _path(
        "an encoded slash",
        "disk:..%2foutside%2fsecret.txt",
        "532 A ref may not leave its place",
        f"{_PATHS}; RFC 3986 section 2.2",
    ),
    _path(
        "encoded twice",
        "disk:%252e%252e%252foutside%252fsecret.txt",
        "532 A ref may not leave its place",
        f"{_PATHS}; CWE-174",
    ),
    _path(
        "encoded five times",
        "disk:%252525252e%252525252e%252525252foutside",
        "550 Not there",
        f"{_PATHS}; CWE-174",
    ),
    _path("backslashes", "disk:..\\outside\\secret.txt", "532 A ref may not leave its place"),
    _path("encoded backslashes", "disk:..%5coutside%5csecret.txt", "532 A ref may not leave its place"),
    _path(
        "dots with a parameter",
        "disk:..;x/outside/secret.txt",
        "532 A ref may not leave its place",
        f"{_PATHS}; RFC 3986 section 3.3",
    ),
    _path("dots and blanks", "disk:..%20/outside/secret.txt", "532 A ref may not leave its place"),
    _path("four dots", "disk:....//outside/secret.txt", "550 Not there"),
    _path(
        "overlong dots",
        "disk:%c0%ae%c0%ae/outside/secret.txt",
        "550 Not there",
        "CWE-176; RFC 3629 section 3",
    ),
    _path(
        "full-width dots",
        "disk:%ef%bc%8e%ef%bc%8e/outside/secret.txt",
        "550 Not there",
        "CWE-176; UAX 15 (NFKC)",
    ),
    _path("a two-dot leader", "disk:%e2%80%a5/outside/secret.txt", "550 Not there", "CWE-176; UAX 15 (NFKC)"),
    _path("a full-width slash", "disk:..%ef%bc%8foutside", "550 Not there", "CWE-176; UAX 15 (NFKC)"),
    _path("a NUL", "disk:a%00.txt", "501 A ref holds no control characters", "CWE-158"),
    _path("a drive", "disk:C:/x", "550 Not there", f"{_PATHS} (Windows; from memory)"),
    _path(
        "a share", "disk:\\\\127.0.0.1\\share\\x", "532 No \\ in a name", f"{_PATHS} (Windows; from memory)"
    ),
    _path("another stream", "disk:plain.txt::$DATA", "550 Not there", "CWE-69 (from memory)"),
    _path("a device of Windows", "disk:CON", "550 Not there", "CWE-67"),
    _path("into an archive", "disk:plain.zip!/../../x", "550 Not there", f"{_PATHS}; CWE-23"),
    _path("a folder below a document", "disk:plain.txt/../../outside/secret.txt", "550 Not there"),
    _path("a long name", "disk:" + "x" * 240, "550 Not there", "CWE-130; path_resolution(7)"),
    _path("a file URL", "file:///etc/passwd", "532 A file URL may not be typed", f"{_PATHS}; RFC 8089"),
    _path(
        "a file URL by its short form",
        "file:/etc/passwd",
        "532 A file URL may not be typed",
        f"{_PATHS}; RFC 8089 appendix B",
    ),
    _path(
        "a URL of an archive",
        "jar:file:///x.jar!/y",
        "550 No place JAR; nearest: FAR",
        "OWASP SSRF Prevention (URL schemes)",
    ),
    _path("a place that is a path", "../outside:secret.txt", "501 Wanted place:path, #n, or a BASE first"),
    Attack(
        "a base and dots",
        "BASE",
        f"{_PATHS}; RFC 3986 section 5.2.4",
        "`BASE disk:deep/er/`, then paths up and absolute ones",
        "200; 550 Not there; 550 Not there; 550 Not there",
        asking(
            "BASE disk:deep/er/", "READ ../../../outside/secret.txt", "READ /etc/passwd", "READ //127.0.0.1/x"
        ),
        served=True,
    ),
)
