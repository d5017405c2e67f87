"""XML and HTML: bytes -> Markup -> nodes, by XPath 1.0."""

from gateway.extract.markup.nodes import Markup, Node, string_value
from gateway.extract.markup.parse import parse_html, parse_xml
from gateway.extract.markup.xpath.compile import XmlPath, compile_xpath

__all__ = ["Markup", "Node", "XmlPath", "compile_xpath", "parse_html", "parse_xml", "string_value"]
