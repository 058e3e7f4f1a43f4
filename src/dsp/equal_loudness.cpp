#include "dsp/equal_loudness.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

namespace sendworthy::dsp {
namespace {

struct Row {
  double hz;
  double exponent;      ///< α_f: of how loudness is perceived
  double transfer;      ///< L_U, dB: of the ear's linear transfer, re 1 kHz
  double threshold_spl; ///< T_f, dB
};

// ISO 226:2023, Table 1, and a row at both ends for what lies beyond it.
constexpr std::array<Row, 33> kRows{{
    {10, 0.635, -31.5, 107.3},  {20, 0.635, -31.5, 78.1},  {25, 0.602, -27.2, 68.7},  {31.5, 0.569, -23.1, 59.5},
    {40, 0.537, -19.3, 51.1},   {50, 0.509, -16.1, 44.0},  {63, 0.482, -13.1, 37.5},  {80, 0.456, -10.4, 31.5},
    {100, 0.433, -8.2, 26.5},   {125, 0.412, -6.3, 22.1},  {160, 0.391, -4.6, 17.9},  {200, 0.373, -3.2, 14.4},
    {250, 0.357, -2.1, 11.4},   {315, 0.343, -1.2, 8.6},   {400, 0.330, -0.5, 6.2},   {500, 0.320, 0.0, 4.4},
    {630, 0.311, 0.4, 3.0},     {800, 0.303, 0.5, 2.2},    {1000, 0.300, 0.0, 2.4},   {1250, 0.295, -2.7, 3.5},
    {1600, 0.292, -4.2, 1.7},   {2000, 0.290, -1.2, -1.3}, {2500, 0.290, 1.4, -4.2},  {3150, 0.289, 2.3, -6.0},
    {4000, 0.289, 1.0, -5.4},   {5000, 0.289, -2.3, -1.5}, {6300, 0.293, -7.2, 6.0},  {8000, 0.303, -11.2, 12.6},
    {10000, 0.323, -10.9, 13.9}, {12500, 0.354, -3.5, 12.3}, {14000, 0.354, -3.5, 18.4}, {16000, 0.354, -3.5, 40.2},
    {20000, 0.354, -3.5, 76.6},
}};

Row at(double hz) {
  hz = std::clamp(hz, kRows.front().hz, kRows.back().hz);
  std::size_t above = 1;
  while (kRows[above].hz < hz) ++above;
  const auto &low = kRows[above - 1], &high = kRows[above];
  const double share = std::log(hz / low.hz) / std::log(high.hz / low.hz);
  return {hz, std::lerp(low.exponent, high.exponent, share), std::lerp(low.transfer, high.transfer, share),
          std::lerp(low.threshold_spl, high.threshold_spl, share)};
}

// What one step of 10^(0.03 phon) counts for at this frequency, and what the threshold adds.
double step(const Row& row) { return std::pow(4e-10, 0.3 - row.exponent); }
double floor_of(const Row& row) { return std::pow(10, row.exponent * (row.threshold_spl + row.transfer) / 10); }
double loudness(double phon) { return std::pow(10, 0.03 * phon); }

}  // namespace

double equal_loudness_spl(double hz, double phon) {
  const auto row = at(hz);
  const double sum = step(row) * (loudness(std::max(0.0, phon)) - loudness(kThresholdPhon)) + floor_of(row);
  return 10 / row.exponent * std::log10(sum) - row.transfer;
}

double loudness_level_phon(double hz, double spl) {
  const auto row = at(hz);
  const double heard = std::pow(10, row.exponent * (spl + row.transfer) / 10) - floor_of(row);
  const double sum = heard / step(row) + loudness(kThresholdPhon);
  return sum > 0 ? std::log10(sum) / 0.03 : -std::numeric_limits<double>::infinity();
}

double hearing_threshold_spl(double hz) { return at(hz).threshold_spl; }

}  // namespace sendworthy::dsp
