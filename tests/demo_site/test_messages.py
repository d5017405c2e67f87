"""Frozen HTTP messages."""

from demo_site.messages import SiteRequest, SiteResponse


def test_field_names_are_case_blind() -> None:
    """RFC 9110 section 5.1."""
    request = SiteRequest("GET", "/", headers=(("x-harbour-KEY", "a"),))
    assert request.header("X-Harbour-Key") == "a"
    assert request.header("X-Other") is None


def test_several_lines_of_a_field_are_one_list() -> None:
    """RFC 9110 section 5.3: combined in order, with a comma and a blank."""
    response = SiteResponse(200, (("Vary", "Accept"), ("ETag", '"1"'), ("vary", "Accept-Encoding")))
    assert response.header("Vary") == "Accept, Accept-Encoding"
