"""XPath 1.0 over parsed documents: text -> tokens -> expression -> selected nodes.

It is evaluated here, not by libxml2, because libxml2 cannot be stopped: a harmless path such as
`//a/following-sibling::a` over 4,000 siblings ran there for 11 seconds, and eight times as long for each
doubling; and it writes large numbers with exponents. Here every node looked at is counted, a path that runs
away ends with TooLarge, and that one takes 7 milliseconds.
"""
