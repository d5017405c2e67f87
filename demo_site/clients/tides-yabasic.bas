rem Asks a headrace gateway for the tides of an invented town (invented data).
device$ = "./tty"
open device$ for reading as #1
open device$ for writing as #2
print #2 "ASK TIDES MOLE"
close #2
line input #1 status$
if len(status$) < 16 then
  print "NOT A STATUS LINE: ", status$
  end
endif
done = left$(status$, 1) = "2"
if not done print "ERROR ", left$(status$, 3)
for i = 1 to val(mid$(status$, 5, 5))
  line input #1 record$
  if done then
    print mid$(record$, 1, 5), " ", mid$(record$, 12, 6)
  else
    print record$
  endif
next i
print "END OF TIDES"
