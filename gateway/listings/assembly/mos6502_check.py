"""settings -> the parts of a 6502 program that checks its lines: silence, the check's digits, asking again.

A line that is not as long as it must be, or whose digits differ, is wrong, as is one that never ends. Then
all that still comes is thrown away, and the program asks again: for the rest of the page from the record
that was wrong, or, where the status line was, for the page (AGAIN), or by the same request, if it is an
ASK or nothing came at all. Requests carry their check too; one that came wrong is answered 500 and sent
once more. A TELL is repeated only after a 500, which says that nothing was run.
"""

from typing import Final

from gateway.wire.settings import Settings

_TAKE: Final = """\
; times in 4 ms, at 1 MHz
REPLY = 10000 ; for a reply
PAUSE = {pause} ; within one
QUIET = {quiet} ; after one
; A = next byte; C set: none came
getbyte: lda #0
 sta idle
 sta idle+1
 sta idle+2
@wait: lda STATUS
 and #RXRDY
 bne @came
 inc idle
 bne @wait
 inc idle+1 ; 4096 cycles
 bne @less
 inc idle+2
@less: lda idle+1
 cmp patient
 lda idle+2
 sbc patient+1
 bcc @wait
 rts
@came: lda #<PAUSE
 sta patient
 lda #>PAUSE
 sta patient+1
 lda DATA{mask}
 clc
 rts
"""

TRIES: Final = """\
 lda #9
 sta tries
 lda #0
 sta open
"""

_RETRY: Final = """\
; ---- a line was wrong ----
retry: dec tries
 bne @try
 jmp error ; too often
@try: jsr drain
 lda open ; 1: page began
 beq {first}
 cmp #1
 beq recall
 lda len ; nothing came?
{ended}@same: jmp (asked)
recall: ldx #<recall
 ldy #>recall
 jsr request
{doubt} lda #<again
 ldy #>again
 jsr puttext
 lda open
 cmp #1
 bne @send
 lda #' ' ; from record n on
 jsr putsum
 ldx #0
@digit: lda next,x
 jsr putsum
 inx
 cpx #5
 bne @digit
@send: jsr putcheck
 jmp page
; ---- X, Y is asking ----
request: stx asked
 sty asked+1
{sure}nosum: lda #0
 sta sum
 sta sum+1
 rts
; ---- until nothing more comes ----
drain: lda #<QUIET
 sta patient
 lda #>QUIET
 sta patient+1
 jsr getbyte
 bcc drain
 rts
; ---- send A, add it up ----
putsum: pha
 jsr addsum
 pla
 jmp putbyte
; ---- the check, and the end ----
putcheck: lda #' '
 jsr putbyte
 lda #'*'
 jsr putbyte
{digits} jmp putend
puthex: pha
 lsr a
 lsr a
 lsr a
 lsr a
 jsr @digit
 pla
 and #15
@digit: jsr hexdigit
 jmp putbyte
"""

# A MORE that did not arrive leaves the gateway waiting: AGAIN brings the page's last window.
_NOT_MORE: Final = """\
 beq @same
 cmp width ; the old page's
 bne recall ; last record?
 sta want
 jsr verify
 bcs recall
 jmp moreof
"""

_VERIFY: Final = """\
; ---- buffer right? C set: no ----
verify: lda len
 cmp want
 bne @wrong
 sec
 sbc #{added}
 sta stop
 jsr nosum
 tax
@byte: lda buffer,x
 jsr addsum
 inx
 cpx stop
 bne @byte
{digits} clc
 rts
@wrong: sec
 rts
; A = hex digits at buffer,x? then Z
same: pha
 lsr a
 lsr a
 lsr a
 lsr a
 jsr @digit
 bne @no
 pla
 and #15
@digit: jsr hexdigit
 inx
 cmp buffer-1,x
 rts
@no: pla
 ldx #1 ; not Z
 rts
hexdigit:
 cmp #10
 bcc @low
 adc #{letters}
@low: adc #'0'
 rts
; ---- add A to the check ----
"""

_SUM: Final = """\
addsum: clc
 adc sum
 sta sum
 rts
"""

_CRC: Final = """\
addsum: eor sum+1 ; CRC-16/XMODEM
 sta sum+1
 ldy #8
@bit: asl sum
 rol sum+1
 bcc @even
 lda sum
 eor #$21
 sta sum
 lda sum+1
 eor #$10
 sta sum+1
@even: dey
 bne @bit
 rts
"""

_UNIT: Final = 4  # milliseconds


def take(settings: Settings, mask: str) -> str:
    """Taking a byte, or noticing that none comes: what the gateway waits itself is added to the pauses."""
    slow = settings.gap + (1000 // settings.pace if settings.pace else 0)
    extra = -(-slow // _UNIT)
    return _TAKE.format(pause=500 + extra, quiet=64 + extra, mask=mask)


def retry(check: str, *, changes: bool, windowed: bool, doubtful: bool) -> str:
    """Asking again, and asking with a check."""
    digits = " lda sum\n jsr puthex\n"
    return _RETRY.format(
        first="recall" if changes else "@same",
        doubt=" lda open\n sta doubt\n" if doubtful else "",
        sure=" lda #0\n sta doubt\n" if doubtful else "",
        ended=_NOT_MORE if windowed else " bne recall\n",
        digits=digits if check == "sum" else " lda sum+1\n jsr puthex\n" + digits,
    )


def verify(check: str, letter: int) -> str:
    """The routine for one kind of check, none for none. `letter` is an A as the line has it."""
    digits = " lda sum\n jsr same\n bne @wrong\n"
    letters = letter - ord("0") - 11  # the carry is set
    if check == "none":
        return ""
    if check == "sum":
        return _VERIFY.format(added=2, digits=digits, letters=letters) + _SUM
    digits = " lda sum+1\n jsr same\n bne @wrong\n" + digits
    return _VERIFY.format(added=4, digits=digits, letters=letters) + _CRC
