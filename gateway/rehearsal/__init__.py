"""Sessions as scripts: read, run against a gateway, compared, and written down from real ones.

A script is a text file of ASCII, a statement a line; `#` begins a comment where a statement could begin.

    dial [NAME] [listener N]   open a line; NAME tells lines apart. Without `dial`, the first statement does
    on NAME                    go on with that line
    say TEXT                   send TEXT and a line end
    put BYTES                  send BYTES as they stand
    hear PATTERN               a line comes, up to its line end
    take PATTERN               bytes come that fit, as few as it takes; there is no line end to wait for
    skip N                     N lines come, whatever is in them
    wait SECONDS               pause
    quiet SECONDS              nothing comes meanwhile
    finish                     send no more (TCP's FIN), and go on reading
    close                      hang up
    reset                      cut the line (TCP's RST)
    closed                     the gateway hangs up
    ends SAID [HEARD]          line ends from here on: cr, lf or crlf (crlf crlf at the beginning)
    within SECONDS             how long to wait for what is to come (5 at the beginning)

What is sent in a row goes out at once; `wait 0` parts it.

TEXT, BYTES and PATTERN are the rest of the line after one blank. Blanks at its end do not count; between two
bars behind the word, `hear|12:00   |`, every blank does. `\\xHH` is a byte, `\\\\` a backslash, and `\\{` a
brace. In a PATTERN,

    {any}        stands for any bytes, none too      {any 5}      for 5 of them
    {number}     for -12, 3.50 or the like           {number 8}   for one in 8 columns, with blanks
    {like RE}    for what the regular expression (Python's) RE matches as a whole
"""
