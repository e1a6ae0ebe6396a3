// histogram.js - the shares of a histogram in a run record, made comparable between two records. Pure.
import { recordAt } from './comparison.js';

/** Metrics of which a record may hold a histogram, in the order offered. */
export const METRICS = {
  quad: [
    'aspect_ratio',
    'scaled_jacobian',
    'edge_ratio',
    'skew',
    'taper',
    'warpage',
    'stretch',
    'shape',
    'equiangle_skew',
    'max_aspect_frobenius',
    'min_angle',
    'max_angle',
  ],
  tri: [
    'aspect_ratio',
    'scaled_jacobian',
    'edge_ratio',
    'aspect_frobenius',
    'shape',
    'equiangle_skew',
    'min_angle',
    'max_angle',
  ],
};

/** Shares of the irregular vertices inside (or on open edges), by valence; 7 and more together. */
export function valenceShares(record, where = 'interior') {
  const counts = recordAt(record, `subject.valence.${where}`) ?? {};
  const regular = (record.kind === 'cage' ? { interior: 4, boundary: 3 } : { interior: 6, boundary: 4 })[where];
  const last = record.kind === 'cage' ? 7 : 9;
  const bins = new Map();
  let irregular = 0;
  let total = 0;
  for (const [valence, count] of Object.entries(counts)) {
    total += count;
    if (Number(valence) === regular) continue;
    irregular += count;
    const bin = Math.min(Number(valence), last);
    bins.set(bin, (bins.get(bin) ?? 0) + count);
  }
  const labels = Array.from({ length: last - 1 }, (_, i) => i + 2).filter((valence) => valence !== regular);
  return {
    labels,
    last,
    regularShare: total > 0 ? 1 - irregular / total : null,
    shares: labels.map((valence) => (irregular > 0 ? (bins.get(valence) ?? 0) / irregular : 0)),
  };
}

/** Shares of all faces measured, by the fixed edges of the metric; null where the record has none. */
export function metricShares(record, path) {
  const metric = recordAt(record, `subject.quality.${path}`);
  const histogram = metric?.histogram;
  if (!histogram || !(metric.count > 0)) return null;
  const total = histogram.counts.reduce((sum, count) => sum + count, 0) + histogram.below + histogram.above;
  return {
    edges: histogram.edges,
    shares: histogram.counts.map((count) => count / total),
    below: histogram.below / total,
    above: histogram.above / total,
    median: metric.median,
  };
}

/** The bins from the first to the last that either histogram fills, and one beside them: [first, end). */
export function filledRange(histograms) {
  const filled = histograms.flatMap(({ shares }) => shares.flatMap((share, i) => (share > 0 ? [i] : [])));
  const most = histograms[0].shares.length;
  if (filled.length === 0) return [0, most];
  return [Math.max(0, Math.min(...filled) - 1), Math.min(most, Math.max(...filled) + 2)];
}

/** The directions in which distances are measured, by the name that the address has of them. */
export const WAYS = { lost: 'reference_to_subject', invented: 'subject_to_reference' };

/**
 * Shares of the area by class of distance: up to edges[0], up to edges[1] and so on, beyond the last. The share is the middle of what is
 * known of it; `ends` are [lower, upper], `sampled` where they rest on samples. Null where the record has none: it was measured alone, or
 * before records had it.
 */
export function deviationShares(record, way) {
  const histogram = recordAt(record, `deviation.${WAYS[way]}.histogram`);
  if (!histogram) return null;
  return {
    edges: histogram.edges,
    shares: histogram.shares.map(({ lower, upper }) => (lower + upper) / 2),
    ends: histogram.shares.map(({ lower, upper }) => [lower, upper]),
    sampled: histogram.shares.map(({ sampled }) => sampled),
    reference: record.reference.file.sha256,
    median: recordAt(record, `deviation.${WAYS[way]}.median`),
  };
}

/** Where a length stands along the classes, counted in classes from the first one; null before the first edge and beyond the last. */
export function placeInClasses(edges, length) {
  const i = edges.findIndex((edge) => length <= edge);
  if (i <= 0) return length === edges[0] ? 1 : null;
  return i + Math.log(length / edges[i - 1]) / Math.log(edges[i] / edges[i - 1]);
}

/** The classes from the first to the last that hold a thousandth of the area in any of the histograms: [first, end). */
export function filledClasses(histograms) {
  const filled = histograms.flatMap(({ shares }) => shares.flatMap((share, i) => (share >= 0.001 ? [i] : [])));
  const most = histograms[0].shares.length;
  return filled.length === 0 ? [0, most] : [Math.min(...filled), Math.min(most, Math.max(...filled) + 1)];
}
