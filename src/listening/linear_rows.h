// Complex systems as in linear_solve.h, several elements at a time where the processor can; many
// right-hand sides lie side by side.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

namespace rankwright::listening {

/// The elements of right-hand sides: row i holds the i-th of each, real and imaginary parts apart,
/// with noughts behind them up to a whole register.
struct SideBySide {
    std::size_t rows = 0, width = 0;
    std::vector<double> re, im;  // [rows][width]

    void assign(std::size_t wanted_rows, std::size_t sides) {
        rows = wanted_rows;
        width = (sides + 3) / 4 * 4;
        re.assign(rows * width, 0.0);
        im.assign(rows * width, 0.0);
    }
    void set(std::size_t row, std::size_t side, std::complex<double> value) {
        re[row * width + side] = value.real();
        im[row * width + side] = value.imag();
    }
    std::complex<double> at(std::size_t row, std::size_t side) const {
        return {re[row * width + side], im[row * width + side]};
    }
};

/// As `cholesky` of linear_solve.h. `room` is used again: it grows only where more is needed than
/// ever before.
bool cholesky(std::vector<std::complex<double>>& a, std::size_t n, std::vector<double>& room);
inline bool cholesky(std::vector<std::complex<double>>& a, std::size_t n) {
    std::vector<double> room;
    return cholesky(a, n, room);
}

/// Solves L·Y = B in place; `l` as by `cholesky`, row by row, as many as `b` has.
void solve_lower(const std::complex<double>* l, SideBySide& b);

/// Real parts of YᴴY, width × width; only what is on and below the diagonal is sure to be there.
void products_of(const SideBySide& y, std::vector<double>& products);

/// The diagonal of (L·Lᴴ)⁻¹, `n` long. `room` is used again: it grows only where more is needed
/// than ever before.
void inverse_diagonal(const std::complex<double>* l, std::size_t n, std::vector<double>& diagonal,
                      std::vector<double>& room);
inline void inverse_diagonal(const std::complex<double>* l, std::size_t n,
                             std::vector<double>& diagonal) {
    std::vector<double> room;
    inverse_diagonal(l, n, diagonal, room);
}

}  // namespace rankwright::listening
