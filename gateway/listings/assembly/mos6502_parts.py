"""settings -> the parts of a 6502 program: machine, requests, fields, lines, digits.

A line of a part is `label instruction ; comment`, or begins with a blank where it has no label; the writer
puts all of them in columns.
"""

from typing import Final

_MACHINE: Final = """\
; ---- change this for your machine ----
STATUS = $C000 ; UART: status
DATA = $C001 ; UART: data
RXRDY = $01 ; bit: a byte came
TXRDY = $02 ; bit: may send
CHROUT = $F000 ; shows char in A
 .zeropage
text: .res 2 ; a pointer
{request} .code
 jmp begin
init: rts ; set rate, 8N1
show: stx keepx ; A; X, Y stay
 sty keepy
 jsr CHROUT
 ldx keepx
 ldy keepy
 rts
newline: lda #13
 jmp show
"""

TAKE: Final = """\
getbyte: lda STATUS ; A = next byte
 and #RXRDY
 beq getbyte
 lda DATA{mask}
 rts
"""

PUT: Final = """\
putbyte: pha ; send A
@full: lda STATUS
 and #TXRDY
 beq @full
 pla
 sta DATA
 rts
; ---- end of the machine's part ----

"""

BEGIN: Final = """
; ---- the program ----
begin: cld
 jsr init
"""

_SETUP: Final = """\
; settings first
set: lda #<setup
 ldy #>setup
 jsr puttext
 jsr putend
 jsr status
{bad} lda buffer
 cmp #'2'
 beq @done
{again} jmp error
@done:
"""

_SET_AGAIN: Final = """\
@again: dec tries ; it came wrong
 beq @bad ; or its reply
 jsr drain
 jmp set
@bad:"""

SHOW: Final = """\
; ---- a record's fields ----
fieldsof:
 lda #<fields
 ldy #>fields
 sta text
 sty text+1
@field: ldy #0
 lda (text),y
 bne @name
 jmp newline
@name: jsr show
 iny
 lda (text),y
 bne @name
 lda #':'
 jsr show
 lda #' '
 jsr show
 iny
 lda (text),y
 tax ; first column
 iny
 lda (text),y
 sta field ; columns
 iny
 tya
 clc
 adc text
 sta text
 bcc @value
 inc text+1
@value: lda buffer,x
 jsr show
 inx
 dec field
 bne @value
 jsr newline
 jmp @field
"""

_SEND: Final = """\
; ---- send text at A, Y ----
puttext: sta text
 sty text+1
 ldy #0
@byte: lda (text),y
 beq @sent
{put} iny
 bne @byte
@sent: rts
"""

WIDTH: Final = """\
; ---- columns 11-13 ----
getwide: lda #0
 tax
@digit: sta width
 asl a
 asl a
 clc
 adc width
 asl a ; times ten
 sta width
 lda buffer+10,x
 and #15
 clc
 adc width
 inx
 cpx #3
 bne @digit
 sta width
 rts
"""

DIGITS: Final = """\
; ---- one record less ----
less: ldx #4
@digit: dec left,x
 lda left,x
 cmp #'0'
 bcs @less
 lda #'9'
 sta left,x
 dex
 bpl @digit
@less: rts
"""

_COUNT: Final = """\
; ---- one more in {name} ----
{label}: ldx #4
@digit: inc {name},x
 lda {name},x
 cmp #':' ; after 9
 bne @more
 lda #'0'
 sta {name},x
 dex
 bpl @digit
@more: rts
"""

_PUT_END: Final = """\
; ---- end of a request ----
putend:{windowed}{patient} lda #13
 jmp putbyte
"""

_ONE: Final = """\
 ldx #4 ; reply's first
@one: lda one,x ; line counts
 sta sofar,x
 dex
 bpl @one
"""

_WINDOW: Final = """\
; ---- a line of the window ----
window: ldx #4
@same: lda sofar,x
 cmp lines,x
 bne counted
 dex
 bpl @same
 jmp putend ; full: empty line
"""

_LINE: Final = """\
; ---- a line -> buffer, len ----
getline: ldx #0
@byte: jsr getbyte
{silent}{skip}{end} sta buffer,x
 inx
{more}@end: stx len
 rts
"""


def machine(*, checked: bool) -> str:
    """What a machine's owner changes, first part."""
    return _MACHINE.format(request="asked: .res 2 ; who asked last\n" if checked else "")


def getline(eol: str, *, checked: bool) -> str:
    """Reading one line up to its end, or, where lines have none, as many characters as it has."""
    end, skip = {"crlf": (10, 13), "lf": (10, 13), "cr": (13, 10), "mirror": (13, 10)}.get(eol, (0x9B, 0))
    counted = eol == "none"
    return _LINE.format(
        silent=" bcs @end ; silence\n" if checked else "",
        skip=f" cmp #{skip}\n beq @byte\n" if skip and not counted else "",
        end="" if counted else f" cmp #{end}\n beq @end\n",
        more=" cpx want\n bne @byte\n" if counted else " bne @byte\n dex ; too long\n bne @byte\n",
    )


def setup(*, checked: bool) -> str:
    """Sending SET."""
    return _SETUP.format(bad=" bcs @again\n" if checked else "", again=_SET_AGAIN if checked else "")


def send(*, checked: bool) -> str:
    """Sending a text, and adding it up where requests are checked."""
    put = " sty field\n jsr putsum\n ldy field\n" if checked else " jsr putbyte\n"
    return _SEND.format(put=put)


def count_up(name: str, label: str) -> str:
    """A routine that adds one to the five digits at `name`."""
    return _COUNT.format(name=name, label=label)


def put_end(*, windowed: bool, checked: bool) -> str:
    """Ending a request, from which a window counts."""
    patient = " lda #<REPLY\n sta patient\n lda #>REPLY\n sta patient+1\n" if checked else ""
    return _PUT_END.format(windowed=_ONE if windowed else "", patient=patient)


def window() -> str:
    """Counting a line, and asking for more with an empty one where the window is full."""
    return _WINDOW + count_up("sofar", "counted")
