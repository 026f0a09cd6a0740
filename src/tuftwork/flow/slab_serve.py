"""A rank of an MPI run that waits for its slab: ``python -m tuftwork.flow.slab_serve``.

The first rank is the command itself, for example ``mpiexec -n 1 tuftwork flow run . --cards 2 :
-n 1 python -m tuftwork.flow.slab_serve``.
"""

from tuftwork.errors import InputError
from tuftwork.flow.slab_crew import mpi_world, serve_rank


def main() -> None:
    """Serve until the leader ends the run."""
    comm = mpi_world()
    if comm is None:
        cure = "It is started by mpiexec beside the command that leads."
        raise InputError("slab_serve", "alone", "", "there is no leader", cure)
    serve_rank(comm)


if __name__ == "__main__":
    main()
