#include "textflag.h"

// func product(out *[16]float64, a, b [][4]float64)
//
// Row i of out is in X(2i) and X(2i+1). Each lane adds its own products one after the other,
// multiplication and addition rounding apart, so the bits are those of productInGo.
TEXT ·product(SB), NOSPLIT, $0-56
	MOVQ out+0(FP), DI
	MOVQ a_base+8(FP), SI
	MOVQ a_len+16(FP), CX
	MOVQ b_base+32(FP), DX
	XORPS X0, X0
	XORPS X1, X1
	XORPS X2, X2
	XORPS X3, X3
	XORPS X4, X4
	XORPS X5, X5
	XORPS X6, X6
	XORPS X7, X7
	TESTQ CX, CX
	JZ    done

loop:
	MOVUPD   (DX), X8
	MOVUPD   16(DX), X9
	MOVSD    (SI), X10
	UNPCKLPD X10, X10
	MOVAPD   X10, X11
	MULPD    X8, X10
	MULPD    X9, X11
	ADDPD    X10, X0
	ADDPD    X11, X1
	MOVSD    8(SI), X12
	UNPCKLPD X12, X12
	MOVAPD   X12, X13
	MULPD    X8, X12
	MULPD    X9, X13
	ADDPD    X12, X2
	ADDPD    X13, X3
	MOVSD    16(SI), X10
	UNPCKLPD X10, X10
	MOVAPD   X10, X11
	MULPD    X8, X10
	MULPD    X9, X11
	ADDPD    X10, X4
	ADDPD    X11, X5
	MOVSD    24(SI), X12
	UNPCKLPD X12, X12
	MOVAPD   X12, X13
	MULPD    X8, X12
	MULPD    X9, X13
	ADDPD    X12, X6
	ADDPD    X13, X7
	ADDQ     $32, SI
	ADDQ     $32, DX
	DECQ     CX
	JNZ      loop

done:
	MOVUPD X0, (DI)
	MOVUPD X1, 16(DI)
	MOVUPD X2, 32(DI)
	MOVUPD X3, 48(DI)
	MOVUPD X4, 64(DI)
	MOVUPD X5, 80(DI)
	MOVUPD X6, 96(DI)
	MOVUPD X7, 112(DI)
	RET
