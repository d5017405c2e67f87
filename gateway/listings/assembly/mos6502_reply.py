"""settings -> the parts of a 6502 program that read a reply: status line, records, next page, error."""

from typing import Final

from gateway.wire.settings import CHECK_WIDTHS, Settings

_PAGE: Final = """\
; ---- a reply ----
page: jsr status
{retry} lda buffer
 cmp #'2' ; 2: done
 beq @done
{refused} jmp error
@done:{width}{opened} ldx #4 ; columns 5-9
@count: lda buffer+4,x
 sta left,x
 dex
 bpl @count
{first}{fresh} lda buffer+14 ; column 15
 sta follow
record: ldx #4 ; any left?
@zero: lda left,x
 cmp #'0'
 bne @next
 dex
 bpl @zero
 jmp ended
@next:{single}{window}{want} jsr getline
{verify} jsr fieldsof
 jsr less
 jmp record
ended: lda follow
 cmp #'+'
 beq @more
 jmp finish
@more:
{closed} lda #<more
 ldy #>more
 jsr puttext
 jsr {putend}
 jmp page
"""

_STATUS: Final = """\
; ---- a status line ----
status:{size} jsr getline
 {then}
"""

_FINISH: Final = """\
; ---- error, end ----
error: ldx #0
@word: lda wrong,x
 beq @code
 jsr show
 inx
 bne @word
@code: ldx #0 ; columns 1-3
@digit: lda buffer,x
 jsr show
 inx
 cpx #3
 bne @digit
 jsr newline
{width}{window}{want} jsr getline
{cut} ldx #0
@text: cpx len
 beq @shown
 lda buffer,x
 jsr show
 inx
 bne @text
@shown: jsr newline
finish: ldx #0
@word: lda last,x
 beq @last
 jsr show
 inx
 bne @word
@last: jmp newline
"""

_CLOSED: Final = """\
pageof: lda #2 ; a next page
 sta open
moreof: ldx #<moreof
 ldy #>moreof
 jsr request
"""

_REFUSED: Final = """\
 cmp #'5' ; 500: came wrong
 bne @error
 lda buffer+1
 ora buffer+2
 cmp #'0'
 bne @error
 dec tries
 beq @error
 jsr drain
 jmp (asked)
@error:
"""

_OPENED: Final = """\
 lda open
 cmp #1 ; AGAIN n: the
 beq @open ; same page still
 lda #1
 sta open
 ldx #4
@first: lda one,x
 sta next,x
 dex
 bpl @first
@open:
"""

# Without a window AGAIN n is record n alone: the rest of its page is asked for one by one.
_ALONE: Final = """\
 lda #0
 sta alone
 lda open
 cmp #1
 bne @whole
 sta alone
 jmp record
@whole:
"""

_FIRST: Final = """\
 lda #1
 sta open
 ldx #4
@first: lda one,x
 sta next,x
 dex
 bpl @first
"""

_SINGLE: Final = """\
 lda alone
 beq @read
 inc alone
 cmp #2
 bne @read
 jmp recall
@read:
"""

_VERIFIED: Final = """\
 jsr verify
 bcc @right
 jmp retry
@right:{doubt} lda #9
 sta tries
 jsr onenext
"""

# After a MORE that may not have arrived, AGAIN may bring the page before. Its first record tells.
_DOUBT: Final = """\
 lda fresh ; a page's first?
 beq @known
 lsr fresh
 lda doubt
 cmp #2
 bne @new
 lda sum
 cmp first
 bne @new
 lda sum+1
 cmp first+1
 bne @new
 jsr drain ; the old page
 jmp pageof
@new: lda sum
 sta first
 lda sum+1
 sta first+1
@known:
"""


def page(*, checked: bool, counted: bool, windowed: bool, doubtful: bool) -> str:
    """Reading a reply: status line, records, the next page."""
    return _PAGE.format(
        retry=" bcc @good\n jmp retry\n@good:\n" if checked else "",
        opened=_ALONE if checked and not windowed else "",
        first=_OPENED if checked and windowed else _FIRST if checked else "",
        single=_SINGLE if checked and not windowed else "",
        width=" jsr getwide\n" if counted else "",
        window=" jsr window\n" if windowed else "",
        want=" lda width\n sta want\n" if counted else "",
        verify=_VERIFIED.format(doubt=_DOUBT if doubtful else "") if checked else "",
        fresh=" lda #1\n sta fresh\n" if doubtful else "",
        closed=_CLOSED if checked else "",
        refused=_REFUSED if checked else "",
        putend="putcheck" if checked else "putend",
    )


def status(settings: Settings, *, counted: bool) -> str:
    """Reading a status line."""
    size = 16 + CHECK_WIDTHS[settings.check]
    return _STATUS.format(
        size=f" lda #{size}\n sta want\n" if counted else "",
        then="rts" if settings.check == "none" else "jmp verify",
    )


def finish(*, added: int, windowed: bool, counted: bool) -> str:
    """Showing an error, and the end."""
    cut = f" lda len ; less its check\n sec\n sbc #{added}\n bcc @shown\n sta len\n" if added else ""
    return _FINISH.format(
        width=" jsr getwide\n" if counted else "",
        window=" jsr window\n" if windowed else "",
        want=" lda width\n sta want\n" if counted else "",
        cut=cut,
    )
