#!/usr/bin/perl
# Writes every character of the Basic Multilingual Plane that Encode::GSM0338 can
# encode, with its cost in septets (the length of the encoded form).
use strict;
use warnings;
use Encode qw(encode);
use Encode::GSM0338;

my @rows;
for my $code (0 .. 0xFFFF) {
    next if $code >= 0xD800 && $code <= 0xDFFF;
    my $text  = chr $code;
    my $bytes = eval { encode('gsm0338', $text, Encode::FB_CROAK | Encode::LEAVE_SRC) };
    next if !defined $bytes || !length $bytes;
    push @rows, sprintf '  {"rune": "U+%04X", "septets": %d}', $code, length $bytes;
}
print qq({\n "source": "Perl Encode::GSM0338 $Encode::GSM0338::VERSION; 3GPP TS 23.038",\n);
print qq( "made_by": "internal/sms/testdata/oracle/alphabet.pl",\n "characters": [\n);
print join(",\n", @rows), "\n ]\n}\n";
