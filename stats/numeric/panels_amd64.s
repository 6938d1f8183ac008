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

// func productsWide(left, right *[16]float64, a, b, c [][4]float64)
//
// Row i of left is in Y(i) and row i of right in Y(4+i); otherwise as product.
TEXT ·productsWide(SB), NOSPLIT, $0-88
	MOVQ   left+0(FP), DI
	MOVQ   right+8(FP), R8
	MOVQ   a_base+16(FP), SI
	MOVQ   a_len+24(FP), CX
	MOVQ   b_base+40(FP), DX
	MOVQ   c_base+64(FP), BX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	TESTQ  CX, CX
	JZ     done

loop:
	VMOVUPD      (DX), Y8
	VMOVUPD      (BX), Y9
	VBROADCASTSD (SI), Y10
	VBROADCASTSD 8(SI), Y11
	VBROADCASTSD 16(SI), Y12
	VBROADCASTSD 24(SI), Y13
	VMULPD       Y8, Y10, Y14
	VADDPD       Y14, Y0, Y0
	VMULPD       Y9, Y10, Y15
	VADDPD       Y15, Y4, Y4
	VMULPD       Y8, Y11, Y14
	VADDPD       Y14, Y1, Y1
	VMULPD       Y9, Y11, Y15
	VADDPD       Y15, Y5, Y5
	VMULPD       Y8, Y12, Y14
	VADDPD       Y14, Y2, Y2
	VMULPD       Y9, Y12, Y15
	VADDPD       Y15, Y6, Y6
	VMULPD       Y8, Y13, Y14
	VADDPD       Y14, Y3, Y3
	VMULPD       Y9, Y13, Y15
	VADDPD       Y15, Y7, Y7
	ADDQ         $32, SI
	ADDQ         $32, DX
	ADDQ         $32, BX
	DECQ         CX
	JNZ          loop

done:
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VMOVUPD Y2, 64(DI)
	VMOVUPD Y3, 96(DI)
	VMOVUPD Y4, (R8)
	VMOVUPD Y5, 32(R8)
	VMOVUPD Y6, 64(R8)
	VMOVUPD Y7, 96(R8)
	VZEROUPPER
	RET

// func hasWide() bool
TEXT ·hasWide(SB), NOSPLIT, $0-1
	MOVB  $0, ret+0(FP)
	MOVL  $1, AX
	XORL  CX, CX
	CPUID
	ANDL  $0x18000000, CX // AVX, and that the system says which registers it keeps
	CMPL  CX, $0x18000000
	JNE   no
	XORL  CX, CX
	XGETBV
	ANDL  $6, AX          // both halves of them
	CMPL  AX, $6
	JNE   no
	MOVB  $1, ret+0(FP)

no:
	RET
