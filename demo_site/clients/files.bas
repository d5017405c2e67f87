10 REM Lists a folder, prints a text page by page and stores a short one (invented data).
20 REM The only name to change: QUAY is far away by FTP, LEDGER by WebDAV, SHELF is a folder on disk.
30 P$="QUAY"
40 OPEN "COM1:9600,N,8,1,CS,DS,CD,LF" AS #1
50 Q$="SET page=10": GOSUB 200
60 PRINT "--- FOLDER": Q$="LIST "+P$+":": GOSUB 200
70 PRINT "--- TEXT": Q$="TEXT "+P$+":README.txt": GOSUB 200
80 PRINT "--- STORE": Q$="STORE "+P$+":note.txt": GOSUB 200
90 IF LEFT$(S$,3)<>"350" THEN 130
100 FOR I=1 TO 3: READ D$: PRINT#1,">";D$: NEXT
110 PRINT#1,".": GOSUB 300
120 PRINT "--- STORED": Q$="TEXT "+P$+":note.txt": GOSUB 200
130 CLOSE#1: PRINT "END OF FILES": END
140 DATA "A note from a small machine:","the tide is in, the cat is out,",". and dots are no end in here."
200 PRINT#1,Q$
210 GOSUB 300: IF MID$(S$,15,1)="+" THEN PRINT "--- MORE": Q$="MORE": GOTO 200
220 RETURN
300 LINE INPUT#1,S$: IF LEN(S$)<>16 THEN PRINT "NOT A STATUS LINE: ";S$: END
310 IF LEFT$(S$,1)>"3" THEN PRINT "ERROR ";LEFT$(S$,3)
320 FOR J=1 TO VAL(MID$(S$,5,5)): LINE INPUT#1,R$: PRINT R$: NEXT
330 RETURN
