"""The collected ABNF of RFC 9535 (appendix A), from memory, as one recursive regular expression.

A second reading of the grammar, to hold ours against: it knows syntax only, neither the range of integers
nor the types of functions.
"""

import regex  # type: ignore[import-untyped]

_RULES = r"""
(?(DEFINE)
  (?<S>          [ \t\n\r]*+ )
  (?<int>        0 | -?[1-9][0-9]*+ )
  (?<number>     (?: -0 | (?&int) ) (?: \.[0-9]++ )? (?: [eE][-+]?[0-9]++ )? )
  (?<hex>        [0-9A-Fa-f] )
  (?<hexchar>    [0-9A-CE-Fa-ce-f](?&hex){3} | [Dd][0-7](?&hex){2}
               | [Dd][89ABab](?&hex){2} \\u [Dd][C-Fc-f](?&hex){2} )
  (?<escapable>  [bfnrt/\\] | u(?&hexchar) )
  (?<unescaped>  [ !\#-&(-\[\]-\uD7FF\uE000-\U0010FFFF] )
  (?<string>     " (?: (?&unescaped) | ' | \\" | \\(?&escapable) )*+ "
               | ' (?: (?&unescaped) | " | \\' | \\(?&escapable) )*+ ' )
  (?<shorthand>  [A-Za-z_\x80-\uD7FF\uE000-\U0010FFFF][0-9A-Za-z_\x80-\uD7FF\uE000-\U0010FFFF]*+ )
  (?<segments>   (?: (?&S) (?&segment) )* )
  (?<segment>    (?&bracketed) | \.(?: \* | (?&shorthand) ) | \.\.(?: (?&bracketed) | \* | (?&shorthand) ) )
  (?<bracketed>  \[ (?&S) (?&selector) (?: (?&S) , (?&S) (?&selector) )* (?&S) \] )
  (?<selector>   (?&string) | \* | (?&slice) | (?&int) | \? (?&S) (?&or) )
  (?<slice>      (?: (?&int) (?&S) )? : (?&S) (?: (?&int) (?&S) )? (?: : (?: (?&S) (?&int) )? )? )
  (?<or>         (?&and) (?: (?&S) \|\| (?&S) (?&and) )* )
  (?<and>        (?&basic) (?: (?&S) && (?&S) (?&basic) )* )
  (?<basic>      (?&paren) | (?&comparison) | (?&test) )
  (?<paren>      (?: ! (?&S) )? \( (?&S) (?&or) (?&S) \) )
  (?<test>       (?: ! (?&S) )? (?: (?&query) | (?&function) ) )
  (?<query>      [@$] (?&segments) )
  (?<comparison> (?&comparable) (?&S) (?: [=!<>]= | [<>] ) (?&S) (?&comparable) )
  (?<literal>    (?&number) | (?&string) | true | false | null )
  (?<comparable> (?&literal) | (?&singular) | (?&function) )
  # The RFC has no blanks inside these brackets; every library allows them, and so do we.
  (?<singular>   [@$] (?: (?&S) (?: \[ (?&S) (?: (?&string) | (?&int) ) (?&S) \] | \.(?&shorthand) ) )* )
  (?<function>   [a-z][a-z_0-9]*+ \( (?&S) (?: (?&argument) (?: (?&S) , (?&S) (?&argument) )* )? (?&S) \) )
  (?<argument>   (?&literal) | (?&query) | (?&or) | (?&function) )
)
\$ (?&segments)
"""
_QUERY = regex.compile(_RULES, regex.VERBOSE)


def is_query(text: str) -> bool:
    """Whether the text follows the grammar."""
    return _QUERY.fullmatch(text, timeout=10) is not None
