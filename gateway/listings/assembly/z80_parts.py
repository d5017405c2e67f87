"""The first parts of a Z80 program, in its own order: what to change, what it asks, and what it shows.

z80.py fills in what stands in braces, and leaves parts out. The parts that read and send are z80_line.py's.
"""

from typing import Final

MACHINE: Final = """\
; == WHAT TO CHANGE FOR YOUR MACHINE ==
        ORG 8000H       ;WHERE IT LIES
STATE   EQU 10H         ;SERIAL STATUS
BYTES   EQU 11H         ;SERIAL DATA
HERE    EQU 1           ;A BYTE IS HERE
ROOM    EQU 2           ;ROOM FOR ONE
SCREEN  EQU 12H         ;CHARACTER OUT
; WAITS OF .8 SECONDS (WITH 4 MHZ):
LONG    EQU {long:<11} ;FOR AN ANSWER
BRIEF   EQU {brief:<11} ;WITHIN A LINE
        JP START
; SET SPEED AND FORMAT HERE IF NEED BE.
OPEN:   RET
; ONE CHARACTER, IN A, TO THE SCREEN; 13
; BEGINS A NEW LINE. KEEP REGISTERS.
PRINT:  OUT (SCREEN),A
        RET
; == WHAT IT ASKS ==
"""

START: Final = """\
; == THE PROGRAM ==
START:  LD (STACK),SP
        CALL OPEN
"""

SETUP: Final = """\
; MAKE THE SETTINGS
        LD HL,SETUP
        LD (AFTER),HL
        CALL ASK
"""

PAGES: Final = """\
; ASK, AND SHOW PAGE AFTER PAGE
        LD HL,{first}
        LD (AFTER),HL
        LD HL,WORDS
PAGE:   CALL ASK
        LD A,(LINE+14)  ;MORE PAGES?
        LD (PLUS),A
        LD DE,OWED
        CALL COUNT
        LD HL,ONE
        LD DE,NUMBER
        CALL COPY
PART:   LD DE,LEFT
        CALL COUNT
RECORD: LD HL,LEFT
        CALL ZERO
        JP Z,DONE
{held}        CALL GETREC
        JP C,TORN
        CALL SHOW
        LD HL,LEFT+4
        CALL DOWN
        LD HL,OWED+4
        CALL DOWN
        LD HL,NUMBER+4
        CALL UP
        CALL FRESH
        JP RECORD
; A RECORD IS DAMAGED: WAIT UNTIL THE
; LINE IS QUIET, AND GO ON FROM THERE
TORN:   CALL QUIET
DONE:   LD HL,OWED
        CALL ZERO
        JP Z,NEXT
        LD HL,FROM
        LD (AFTER),HL
        CALL ASK2
        JP PART
NEXT:   LD A,(PLUS)
        CP '+'
        JP NZ,FINISH
        LD HL,REPEAT
        LD (AFTER),HL
        LD HL,MORE
        JP PAGE
; THE END, WHATEVER HAPPENED
FINISH: LD HL,ENDING
        CALL TEXT
        LD SP,(STACK)
        RET
;
; SEND THE REQUEST AT HL AND READ THE
; STATUS LINE. AN ERROR ENDS ALL.
ASK:    CALL FRESH
ASK2:   LD (ASKED),HL
        LD HL,TRIES
        DEC (HL)
        JP Z,GIVEUP
{full}        XOR A
        LD (SEEN),A
        LD HL,(ASKED)
        CALL SEND
        LD A,16
        CALL GETLN
        JP C,AGAIN
        CALL WIDTH
        LD A,(LINE)
        CP '2'          ;DONE?
        RET Z
{resend}; NOT DONE: SHOW CODE AND SENTENCE
        LD HL,ERROR
        CALL TEXT
        LD HL,LINE
        LD B,3
        CALL CHARS
        LD A,13
        CALL PRINT
        LD HL,LINE+4
        CALL ZERO
        JP Z,FINISH
{held}        CALL GETREC
        JP C,GIVEUP
        CALL RAW
        JP FINISH
GIVEUP: LD HL,BADLY
        CALL TEXT
        JP FINISH
; A STATUS LINE IS DAMAGED, OR NONE CAME
AGAIN:  CALL QUIET
        LD HL,(ASKED)
        LD A,(SEEN)
        OR A
        JP Z,{silent}
{likely}        LD HL,(AFTER)
        JP ASK2
"""

RESEND: Final = """\
; 500 MAY MEAN THAT IT CAME DAMAGED, AND
; 501 THAT ITS CHECK DID: THAT TWICE
        LD HL,(LINE)
        LD DE,3035H     ;'5' AND '0'
        OR A
        SBC HL,DE
        JR NZ,TOLD
        LD B,2
        LD A,(LINE+2)
        CP '0'
        JR Z,NOT501
        LD B,{few}
NOT501: LD A,(TRIES)
        CP B
        JR C,TOLD
        CALL QUIET      ;ITS SENTENCE
        LD HL,(ASKED)
        JP ASK2
TOLD:
"""

LIKELY_500: Final = """\
        LD A,(LINE)
        CP '5'          ;LIKELY A 500
        JP Z,ASK2
"""

SHOW: Final = """\
; SO MANY TRIES FROM HERE ON
FRESH:  LD A,{tries:<11} ;AND ONE
        LD (TRIES),A
        RET
;
; SHOW THE RECORD, FIELD BY FIELD
SHOW:   LD A,(WIDE)
        CP {text:<12} ;LAID OUT SO?
        JR NZ,RAW
        LD HL,FIELDS
SHOW1:  LD E,(HL)       ;COLUMN FROM 0
        INC HL
        LD B,(HL)       ;WIDTH; 0 ENDS
        INC HL
        LD A,B
        OR A
        LD A,13
        JP Z,PRINT
        LD D,LINE/256
        CALL TEXT       ;ITS NAME
        EX DE,HL
        CALL CHARS
        EX DE,HL
        LD A,13
        CALL PRINT
        JR SHOW1
; SHOW THE RECORD AS IT IS
RAW:    LD A,(WIDE)
        LD B,A
        LD HL,LINE
        CALL CHARS
        LD A,13
        JP PRINT
; B CHARACTERS AT HL
CHARS:  LD A,(HL)
        CALL PRINT
        INC HL
        DJNZ CHARS
        RET
; THE TEXT AT HL UP TO A 0; HL AFTER IT
TEXT:   LD A,(HL)
        INC HL
        OR A
        RET Z
        CALL PRINT
        JR TEXT
;
; THE STATUS LINE'S COUNT TO (DE)
COUNT:  LD HL,LINE+4
COPY:   LD BC,5
        LDIR
        RET
; Z: THE FIVE DIGITS AT HL ARE ALL 0
ZERO:   LD B,5
        LD A,'0'
ZERO1:  CP (HL)
        RET NZ
        INC HL
        DJNZ ZERO1
        RET
; ONE LESS; HL AT THE LAST DIGIT
DOWN:   LD A,(HL)
        DEC (HL)
        CP '0'
        RET NZ
        LD (HL),'9'
        DEC HL
        JR DOWN
; ONE MORE
UP:     LD A,(HL)
        INC (HL)
        CP '9'
        RET NZ
        LD (HL),'0'
        DEC HL
        JR UP
; THE STATUS LINE'S WIDTH LESS THE CHECK
WIDTH:  LD HL,LINE+10
        LD B,3
        XOR A
WIDTH1: ADD A,A
        LD C,A
        ADD A,A
        ADD A,A
        ADD A,C         ;TIMES 10
        ADD A,(HL)
        SUB '0'
        INC HL
        DJNZ WIDTH1
{less}        LD (WIDE),A
        RET
"""

HELD_BYTE: Final = """\
;
; A LINE IS READ. AFTER SO MANY OF THEM
; THE GATEWAY WAITS FOR AN EMPTY LINE
HELD:   LD HL,LINES
        DEC (HL)
        RET NZ
        LD (HL),{window}
        JP ENDLN
"""

HELD_DIGITS: Final = """\
;
; A LINE IS READ. AFTER SO MANY OF THEM
; THE GATEWAY WAITS FOR AN EMPTY LINE
HELD:   LD HL,LINES+4
        CALL DOWN
        LD HL,LINES
        CALL ZERO
        RET NZ
        CALL FULL
        JP ENDLN
FULL:   LD HL,WINDOW
        LD DE,LINES
        JP COPY
"""
