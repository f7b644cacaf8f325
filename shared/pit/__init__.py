"""The pit over https: a certificate authority of this machine alone, the page that hands it to phones, their addresses.

A phone gives a page its camera and lets it survive a reload only over https, and no public authority vouches for a
laptop in a pit. So the laptop makes an authority of its own, which the phone installs once. It is bound to private
addresses and this machine's names: were its key stolen, it could still vouch for no other site.
"""
