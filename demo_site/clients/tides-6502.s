; Asks a headrace gateway for the tides
; of an invented town (invented data).
; A small 6502 program:
;  ca65 tides-6502.s
;  ld65 -t none -o tides tides-6502.o
; Load it at $1000 and call it there;
; RTS ends it. If it went wrong, ? comes
; before why.

; == what to change for your machine ==
STATUS  = $C000    ;UART: status
DATA    = $C001    ;UART: data
ROOM    = 2        ;status: send now
; a byte is here when bit 0 is set
CHROUT  = $F000    ;shows A, keeps A

        .zeropage
line:   .res 18
        .code
        ldx #0
send:   lda STATUS
        and #ROOM
        beq send
        lda ask,x
        sta DATA
        inx
        cpx #asked
        bne send
; the status line: 16, CR and LF
        ldx #0
status: lda STATUS
        lsr a
        bcc status
        lda DATA
        sta line,x
        inx
        cpx #18
        bne status
        lda line
        cmp #'2'   ;2: done
        beq next
        lda #'?'
        jsr CHROUT
; one less of the records to come, which
; are five digits; below 0: no more
next:   ldx #4
less:   dec line+4,x
        lda line+4,x
        cmp #'0'
        bcs record
        lda #'9'
        sta line+4,x
        dex
        bpl less
        rts
record: lda STATUS
        lsr a
        bcc record
        lda DATA
        jsr CHROUT
        cmp #10
        bne record
        beq next
ask:    .byte "ASK TIDES MOLE",13
asked   = * - ask
