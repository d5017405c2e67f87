; Asks a headrace gateway for the tides
; of an invented town (invented data).
; A small Z80 program, for pasmo:
;  pasmo --bin tides-z80.asm tides.bin
; Call its first byte; RET ends it. If
; it went wrong, ? comes before why.

; == what to change for your machine ==
        ORG 8000H
STATE   EQU 10H    ;serial: status
BYTES   EQU 11H    ;serial: data
SCREEN  EQU 12H    ;a character out
ROOM    EQU 2      ;status: send now
; a byte is here when bit 0 is set

START:  LD HL,ASK
        LD BC,256*(LINE-ASK)+BYTES
SEND:   IN A,(STATE)
        AND ROOM
        JR Z,SEND
        OUTI       ;B counts down
        JR NZ,SEND
; the status line: 16, CR and LF
        LD B,18
STATUS: IN A,(STATE)
        RRCA
        JR NC,STATUS
        INI        ;HL is at LINE now
        JR NZ,STATUS
        LD A,(LINE)
        CP '2'     ;2: done
        JR Z,NEXT
        LD A,'?'
        OUT (SCREEN),A
; one less of the records to come: five
; digits, and before them a blank
NEXT:   LD HL,LINE+8
LESS:   LD A,(HL)
        DEC (HL)
        SUB '0'
        RET C      ;the blank: no more
        JR NZ,RECORD
        LD (HL),'9'
        DEC HL
        JR LESS
RECORD: IN A,(STATE)
        RRCA
        JR NC,RECORD
        IN A,(BYTES)
        OUT (SCREEN),A
        CP 10
        JR NZ,RECORD
        JR NEXT
ASK:    DB 'ASK TIDES MOLE',13
LINE:
