10 REM Shows what a name stands for, or talks to it: STATION: or LIBRARY:fog.txt, say (invented).
20 OPEN "COM1:9600,N,8,1,CS,DS,CD,LF" AS #1: LINE INPUT "NAME? ";N$
30 Q$="SET page=15": GOSUB 100: Q$="TALK "+N$+" lines": GOSUB 100: Q$=""
40 IF LEFT$(S$,3)="502" THEN M$="MORE": Q$="TEXT "+N$
50 IF LEFT$(S$,3)="200" OR M$<>"" THEN GOSUB 100
60 IF LEFT$(S$,3)<>"200" OR (M$<>"" AND MID$(S$,15,1)<>"+") THEN CLOSE#1: PRINT "END": END
70 LINE INPUT "> ";A$: Q$=M$: IF M$="" AND A$<>"" THEN Q$=A$: IF A$<>"." THEN Q$=">"+A$
80 GOSUB 100: GOTO 60
100 PRINT#1,Q$: LINE INPUT#1,S$: FOR I=1 TO VAL(MID$(S$,5,5)): LINE INPUT#1,R$
110 IF M$+LEFT$(S$,3)<>"502" THEN PRINT R$
120 NEXT: RETURN
