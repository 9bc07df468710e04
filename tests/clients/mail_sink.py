"""A mail server for the tests, run as a process of its own: takes mail and writes each down as a line of JSON.

    mail_sink.py PORT FILE [--login USER PASSWORD] [--starttls PEM | --tls PEM] [--refuse WORD]

A mail counts as taken only when its line is in FILE: the answer to DATA comes behind it.
"""

import argparse
import asyncio
import base64
import json
import ssl


async def talk(reader, writer, chosen, trust):
    def reply(line):
        writer.write(f"{line}\r\n".encode())

    secure, known, to = chosen.tls is not None, chosen.login is None, []
    reply("220 sink")
    while line := (await reader.readline()).decode().strip():
        verb, _, rest = line.partition(" ")
        verb = verb.upper()
        if verb == "EHLO":
            offers = ["sink"]
            offers += ["STARTTLS"] if chosen.starttls and not secure else []
            offers += ["AUTH PLAIN"] if chosen.login else []
            for offer in offers[:-1]:
                reply(f"250-{offer}")
            reply(f"250 {offers[-1]}")
        elif verb == "STARTTLS":
            reply("220 go on")
            await writer.drain()
            await writer.start_tls(trust)
            secure = True
        elif verb == "AUTH":
            wanted = base64.b64encode(f"\0{chosen.login[0]}\0{chosen.login[1]}".encode()).decode()
            known = secure and rest == f"PLAIN {wanted}"
            # A careless server repeats what it was sent.
            reply("235 welcome" if known else f"535 not {rest} {base64.b64decode(rest.split()[-1]).decode()}")
        elif not known and verb in ("MAIL", "RCPT", "DATA"):
            reply("530 log in first")
        elif verb == "RCPT" and chosen.refuse and chosen.refuse in rest:
            reply("550 no such mailbox")
        elif verb == "DATA":
            reply("354 go on")
            await writer.drain()
            text = (await reader.readuntil(b"\r\n.\r\n")).decode()
            with open(chosen.file, "a", encoding="utf-8") as file:
                print(json.dumps({"to": to, "text": text.removesuffix(".\r\n"), "secure": secure}), file=file)
            to = []
            reply("250 taken")
        elif verb == "QUIT":
            reply("221 bye")
            break
        else:
            to += [rest.partition("<")[2].rstrip(">")] if verb == "RCPT" else []
            reply("250 fine")
        await writer.drain()
    writer.close()


async def serve(chosen):
    pem = chosen.tls or chosen.starttls
    trust = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH) if pem else None
    if trust:
        trust.load_cert_chain(pem)

    async def answer(reader, writer):
        try:
            await talk(reader, writer, chosen, trust)
        except (ConnectionError, asyncio.IncompleteReadError, ssl.SSLError):
            writer.close()

    server = await asyncio.start_server(
        answer, "127.0.0.1", chosen.port, ssl=trust if chosen.tls else None, limit=1_000_000
    )
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("port", type=int)
    parser.add_argument("file")
    parser.add_argument("--login", nargs=2)
    parser.add_argument("--starttls")
    parser.add_argument("--tls")
    parser.add_argument("--refuse")
    asyncio.run(serve(parser.parse_args()))
