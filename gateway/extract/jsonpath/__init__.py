"""JSONPath as RFC 9535 means it: text -> JsonPath, JsonValue -> nodes."""

from gateway.extract.jsonpath.compile import JsonPath, Route, compile_jsonpath

__all__ = ["JsonPath", "Route", "compile_jsonpath"]
