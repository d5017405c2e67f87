10 REM Asks a headrace gateway for the tides of an invented town (invented data).
20 OPEN "COM1:9600,N,8,1,CS,DS,CD,LF" AS #1
30 PRINT#1,"ASK TIDES MOLE": LINE INPUT#1,S$
40 IF LEFT$(S$,1)<>"2" THEN PRINT "ERROR ";LEFT$(S$,3)
50 FOR I=1 TO VAL(MID$(S$,5,5))
60 LINE INPUT#1,R$: PRINT R$
70 NEXT I: CLOSE#1: PRINT "END OF TIDES": END
