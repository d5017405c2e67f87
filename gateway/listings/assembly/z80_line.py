"""The last parts of a Z80 program, in its own order: lines and bytes to and from the serial chip, and checks.

z80.py fills in what stands in braces, and leaves parts out. Registers: PUTC keeps all but flags, GETC all but
A, B' C' D' and flags. DE is the check of a line while it is read or sent, HL where it is, B how much of it is
left, C how long to wait for a byte.
"""

from typing import Final

SEND: Final = """\
;
; SEND THE TEXT AT HL AND A LINE'S END.
; A 0 ENDS IT, OR A 1: WITH ITS CHECK
SEND:{clear}
SEND1:  LD A,(HL)
        INC HL
        CP 2
        JR C,SENT
        CALL PUTC
{check}        JR SEND1
SENT:{digits}
ENDLN:  LD A,13
{feed}PUTC:   PUSH AF
PUTC1:  IN A,(STATE)
        AND ROOM
        JR Z,PUTC1
        POP AF
        OUT (BYTES),A
        RET
"""

SEND_DIGITS: Final = """\
   OR A
        JR Z,ENDLN
        LD A,' '
        CALL PUTC
        LD A,'*'
        CALL PUTC
{digits}"""

PUT_HEX: Final = """\
;
; SEND A AS TWO HEX DIGITS
PUTHEX: PUSH AF
        CALL HIGH4
        CALL PUTC
        POP AF
        CALL LOW4
        JR PUTC
; HALF OF A AS A HEX DIGIT: AN OLD TRICK
HIGH4:  RRCA
        RRCA
        RRCA
        RRCA
LOW4:   AND 15
        ADD A,90H
        DAA
        ADC A,40H
        DAA
{swap}        RET
"""

SWAP: Final = """\
        CP 'A'
        RET C
        OR 20H          ;AS IT IS SENT
"""

GET_LINE: Final = """\
;
; READ A LINE: A CHARACTERS, ITS CHECK
; AND ITS END. GETREC: A RECORD.
; CARRY: IT IS DAMAGED
GETREC: LD A,(WIDE)
GETLN:  LD B,A
        LD HL,LINE
{clear}        LD C,LONG
GETLN1: CALL GETC
        RET C
        CP 20H          ;ENDS TOO SOON?
        RET C
{nineb}        LD (HL),A
        INC HL
{check}        LD C,BRIEF
        DJNZ GETLN1
{rest}"""

NINE_B: Final = """\
        CP 9BH
        SCF
        RET Z
"""

SAME: Final = """\
; THE NEXT BYTE HAS TO BE B
SAME:   CALL GETC
        RET C
        CP B
        RET Z
        SCF
        RET
"""

SAME_HEX: Final = """\
; THE NEXT TWO HAVE TO BE A IN HEX
SAMEHX: PUSH AF
        CALL HIGH4
        LD B,A
        CALL SAME
        POP HL
        RET C
        LD A,H
        CALL LOW4
        LD B,A
"""

GET_BYTE: Final = """\
;
; WAIT UNTIL NOTHING COMES ANY MORE
QUIET:  LD C,BRIEF
        CALL GETC
        JR NC,QUIET
        RET
; A BYTE TO A. CARRY: NONE IN C WAITS
GETC:   LD A,C
        EXX
        LD D,A
        LD BC,0
GETC1:  IN A,(STATE)
        AND HERE
        JR NZ,GETC2
        DEC BC
        LD A,B
        OR C
        JR NZ,GETC1
        DEC D
        JR NZ,GETC1
        EXX
        SCF
        RET
GETC2:  LD (SEEN),A     ;NOT 0
        EXX
        IN A,(BYTES)
{strip}        RET
"""

CRC: Final = """\
;
; TAKE A INTO DE, THE CRC SO FAR; ITS
; POLYNOMIAL IS 1021H. LET Y BE A XOR D,
; AND X BE Y XOR Y/16. THE NEW ONE IS
; E*256 XOR X*4096 XOR X*32 XOR X.
CRC:    XOR D
        LD D,A
        RRCA
        RRCA
        RRCA
        RRCA
        AND 15
        XOR D
        LD D,A          ;X
        RRCA
        RRCA
        RRCA
        LD C,A          ;X*32 AND X/8
        AND 1FH
        XOR E
        LD E,A
        LD A,D
        ADD A,A
        ADD A,A
        ADD A,A
        ADD A,A
        XOR E
        LD E,A          ;HIGH HALF
        LD A,C
        AND 0E0H
        XOR D
        LD D,E
        LD E,A
        RET
"""
