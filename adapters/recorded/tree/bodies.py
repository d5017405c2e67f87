"""An exchange -> where its bodies go: into its TOML file as text, or into files beside it."""

from adapters import limits
from adapters.recorded.drafts import content_of
from adapters.recorded.exchange import Content, Exchange, Message, Told
from adapters.recorded.matching import media_type
from adapters.recorded.tree.toml_text import Files


def is_text(body: Content) -> bool:
    """Whether it can stand in the TOML file as text."""
    if body.path is not None or body.size > limits.RECORDED_TEXT:
        return False
    try:
        text = body.data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return all(each.isprintable() or each in "\t\r\n" for each in text)


def files_of(exchange: Exchange) -> Files:
    """The names of its bodies' files, as they stand in the TOML file."""
    body, content = exchange.asked.body, content_of(exchange.reply)
    return Files(
        asked=body.path.name if body is not None and body.path is not None else "",
        text=body.data.decode("utf-8") if body is not None and body.path is None else None,
        reply=content.path.name if content is not None and content.path is not None else "",
    )


def reply_type(exchange: Exchange) -> str:
    """The media type of the reply's body, as far as is known."""
    if isinstance(exchange.reply, Message):
        return media_type(exchange.reply.headers)
    if isinstance(exchange.reply, Told) and exchange.reply.stat is not None:
        return exchange.reply.stat.media_type
    return ""
