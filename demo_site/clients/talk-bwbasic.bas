10 REM Talks line by line to a place such as BOARD: (an invented one). An empty line only asks, . leaves.
20 LET D$ = "./tty"
30 OPEN D$ FOR INPUT AS #1
40 LINE INPUT "CALL? ", A$
50 LET Q$ = "TALK " + A$ + " lines"
60 OPEN D$ FOR OUTPUT AS #2
70 PRINT #2, Q$
80 CLOSE #2
90 LINE INPUT #1, S$
100 LET N = VAL(MID$(S$, 5, 5))
110 IF N = 0 THEN GOTO 160
120 FOR I = 1 TO N
130 LINE INPUT #1, R$
140 PRINT R$
150 NEXT I
160 IF LEFT$(S$, 3) <> "200" THEN GOTO 230
170 LINE INPUT "> ", A$
180 LET Q$ = A$
190 IF A$ = "" THEN GOTO 60
200 IF A$ = "." THEN GOTO 60
210 LET Q$ = ">" + A$
220 GOTO 60
230 PRINT "END OF CALL"
240 SYSTEM
