"""Settle the layouts of a run: from the bottom up first, then again wherever a span has more cuts than it needs by itself.

A *bad* node has more cuts than its own least, or joints too near to a neighbour's.  Around bad nodes pools of layouts grow (spans
solved against the neighbours below, above, both, and exact pairs), and one layout of each pool is chosen so that the whole
neighbourhood costs least.  The cuts come with a proven lower bound: the least of each span by itself, and what exact searches of
a few spans prove beyond that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from wallquant.bonding.elimination import eliminated
from wallquant.bonding.fills import VIOLATION, Fill, Fills, moved
from wallquant.bonding.intervals import Interval
from wallquant.bonding.nodes import Net, Row
from wallquant.bonding.proving import Proof

REACH = 3
"""How far from a bad node pools grow at first, edge by edge; each round goes one further."""
REGION = 40
"""Most nodes that are settled together."""
SMALL, ROUNDS, FEW = 60, 8, 2
"""Rounds of refinement for runs of up to so many spans, and for longer ones, where bad nodes are many and far apart."""

STARS = 12
"""So many pairs of a region are searched between their neighbours in each round."""


class Settling:
    """One run while it is settled."""

    def __init__(self, fills: Fills, rows: Sequence[Row]) -> None:
        self.net = Net(fills, rows)
        self.proof = Proof(self.net)
        self.pick: dict[int, Fill] = {}
        self.weight: dict[tuple[int, int], int] = {}
        # what a clash of two nodes counts beyond once: it grows while they clash, so that the clash moves on and is solved elsewhere

    def settle(self) -> list[Fill]:
        """Return the layout of each node; `proof` then knows the least number of cuts of all."""
        net = self.net
        self.sweep([n.number for n in net.nodes], self.pick)
        best: tuple[int, dict[int, Fill]] | None = None
        for step in range(ROUNDS if len(net.nodes) <= SMALL else FEW):
            regions = self.regions(REACH + step)
            if not regions:
                break
            for region in regions:
                self.grow(region, step)
                self.choose(region)
                self.weigh(region)
            if self.weight and (best is None or self.total() < best[0]):
                best = self.total(), dict(self.pick)
        if best is not None:
            self.pick = best[1]
        self.polish()
        return [self.pick[n.number] for n in net.nodes]

    def bad(self, among: Sequence[int]) -> list[int]:
        """Return the nodes that may do better, as far as is proven."""
        worse = self.proof.excess({u: f.cuts for u, f in self.pick.items()})
        return [u for u in among if u in worse or self.clashes(u)]

    def clashes(self, u: int) -> bool:
        """Say whether a node stands too near to a neighbour, or breaks a window, though it could be filled by itself."""
        net, mine = self.net, self.pick[u]
        if net.nodes[u].kind.hopeless:
            return False
        if net.costing(u, mine) >= VIOLATION:
            return True
        return any(
            net.together(v, u, off, self.pick[v], mine) >= VIOLATION for v, off in net.nodes[u].below if not net.nodes[v].kind.hopeless
        )

    def weigh(self, region: Sequence[int]) -> None:
        """Let the clashes that are left in a region count more."""
        net = self.net
        for u in region:
            for v, off in net.nodes[u].above:
                if net.together(u, v, off, self.pick[u], self.pick[v]) >= VIOLATION:
                    self.weight[u, v] = self.weight.get((u, v), 0) + 1

    def total(self) -> int:
        """Return the cost of the run as it lies."""
        return self.net.total([self.pick[n.number] for n in self.net.nodes])

    def regions(self, reach: int) -> list[list[int]]:
        """Return the neighbourhoods of the bad nodes; those that touch are one, as long as it is small."""
        out: list[list[int]] = []
        taken: set[int] = set()
        bad = self.bad(range(len(self.net.nodes)))
        others = set(bad)
        for u in bad:
            if u in taken:
                continue
            seen, edge = {u}, [u]
            depth = {u: 0}
            while edge and len(seen) < REGION:
                here = edge.pop(0)
                if depth[here] >= reach:
                    continue
                for v, _ in self.net.nodes[here].beside:
                    if v not in seen and len(seen) < REGION:
                        seen.add(v)
                        depth[v] = 0 if v in others else depth[here] + 1
                        edge.append(v)
            taken |= seen & others
            out.append(sorted(seen))
        return out

    def grow(self, region: Sequence[int], step: int) -> None:
        """Add layouts to the pools of a region, each step with more effort."""
        down, inside, net = region[::-1], set(region), self.net
        net.thin(region, self.pick)
        bad = set(self.bad(region))
        if step == 0:
            for order, pick in ((down, 0), (region, 99)):
                self.sweep(order, {}, pick, inside)
        elif step == 1:
            self.proof.pairs([s for s in self.proof.stars(region) if bad & {*s[0], *s[1]}])
            for order, pick in ((region, 0), (down, 99)):
                self.sweep(order, {}, pick, inside)
        else:
            if step == 2:
                for order, pick in ((down, 4), (region, 4), (region, 1), (region, 2)):
                    self.sweep(order, {}, pick, inside)
            beside = {v for u in bad for v, _ in net.nodes[u].beside}
            near = sorted(({v for u in beside for v, _ in net.nodes[u].beside} | beside | bad) & inside)
            self.between(region, bad)
            self.freer([u for u in near if u in bad or u in beside], 1 + step // 4)
            self.around(near)

    def sweep(self, order: Iterable[int], chosen: dict[int, Fill], pick: int = -1, inside: set[int] | None = None) -> None:
        """Solve node after node against what is chosen already, and with `inside` against all that lies outside it."""
        net = self.net
        for u in order:
            node = net.nodes[u]
            near: list[Interval] = []
            for v, off in node.beside:
                got = chosen.get(v)
                if got is None and inside is not None and v not in inside:
                    got = self.pick[v]
                if got is not None:
                    near += net.near(u, v, off, got)
            found = net.candidates(u, near, 8)
            if pick >= 0:
                chosen[u] = found[min(pick, len(found) - 1)]
            else:
                chosen[u] = self.cheapest(u, found, chosen)

    def cheapest(self, u: int, found: Iterable[Fill], chosen: dict[int, Fill]) -> Fill:
        """Return the layout that costs least by itself and with the neighbours chosen; of equal ones the first."""
        net = self.net
        beside = [(v, off, chosen[v]) for v, off in net.nodes[u].beside if v in chosen]
        best: tuple[int, Fill] | None = None
        for f in found:
            cost = net.costing(u, f)
            if best is not None and cost >= best[0]:
                continue
            cost += sum(net.together(u, v, off, f, other) for v, off, other in beside)
            if best is None or cost < best[0]:
                best = cost, f
        assert best is not None
        return best[1]

    def around(self, nodes: Sequence[int]) -> None:
        """Solve each span again between its neighbours as they lie, and the neighbours against the results."""
        net = self.net
        for u in nodes:
            node = net.nodes[u]
            for sides in (node.beside, node.below, node.above):
                near = [w for v, off in sides for w in net.near(u, v, off, self.pick[v])]
                found = net.candidates(u, near, 12)
                for v, off in node.beside:
                    if (v, off) not in sides:
                        for one in (found[0], found[-1]):
                            net.candidates(v, net.near(v, u, off, one), 4)

    def freer(self, nodes: Sequence[int], extra: int) -> None:
        """Give these nodes layouts with more cuts than they need, so that others may have fewer."""
        net = self.net
        for u in nodes:
            node = net.nodes[u]
            for sides in (node.beside, node.below, node.above, []):
                near = [w for v, off in sides for w in net.near(u, v, off, self.pick[v])]
                windows = moved([*node.kind.windows, *near], 0, node.kind.shape[0] + net.how.joint)
                net.keep(node.kind, net.fills.fill(node.kind.shape, windows, 6, extra))

    def between(self, region: Sequence[int], bad: set[int]) -> None:
        """Search pairs of courses at bad nodes exactly, between the courses below and above as they lie, and let the others follow."""
        inside = set(region)
        stars = [s for s in self.proof.stars(region) if bad & {*s[0], *s[1]}]
        tried: set[tuple[Fill, ...]] = set()
        for star in stars[:STARS]:
            for below, above in ((False, False), (True, False), (False, True), (True, True)):
                found = self.proof.fitted(star, self.pick, below=below, above=above)
                key = tuple(found.values())
                if found and key not in tried:
                    tried.add(key)
                    self.follow(found, inside)

    def follow(self, seed: dict[int, Fill], inside: set[int]) -> None:
        """Solve a region outwards from layouts given for some of its nodes."""
        order, seen = list(seed), set(seed)
        for u in order:
            for v, _ in self.net.nodes[u].beside:
                if v in inside and v not in seen:
                    seen.add(v)
                    order.append(v)
        for pick in (0, 99):
            self.sweep(order[len(seed) :], dict(seed), pick, inside)

    def choose(self, region: Sequence[int]) -> None:
        """Choose one layout of each pool in a region, the rest of the run as it lies."""
        net, inside = self.net, set(region)
        pools = {u: list(net.nodes[u].kind.pool) for u in region}
        costs, tables = {}, {}
        for u in region:
            node = net.nodes[u]
            costs[u] = net.between(u, [(v, off) for v, off in node.beside if v not in inside], self.pick)
            for v, off in node.above:
                if v in inside:
                    table = net.table(u, v, off)
                    more = self.weight.get((u, v), 0)
                    tables[u, v] = table + more * VIOLATION * (table // VIOLATION) if more else table
        now = {}
        for u in region:
            if self.pick[u] not in pools[u]:
                self.pick[u] = pools[u][0]
            now[u] = pools[u].index(self.pick[u])
        for u, k in eliminated(costs, tables, now).items():
            self.pick[u] = pools[u][k]

    def polish(self) -> None:
        """Take for each node in turn the layout of its pool that costs least with its neighbours as they lie."""
        net = self.net
        waiting = set(range(len(net.nodes)))
        for _ in range(2):
            for u in range(len(net.nodes)):
                if u not in waiting:  # nothing beside it has changed since
                    continue
                waiting.discard(u)
                node, pool = net.nodes[u], list(net.nodes[u].kind.pool)
                if len(pool) > 1:
                    totals = net.between(u, node.beside, self.pick)
                    k = int(totals.argmin())
                    if pool[k] is not self.pick[u] and (self.pick[u] not in node.kind.pool or totals[k] < totals[pool.index(self.pick[u])]):
                        self.pick[u] = pool[k]
                        waiting |= {v for v, _ in node.beside}
